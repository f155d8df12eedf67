#!/bin/sh
# How can this order be done? Prints plans with settings and steps as JSON; what the order leaves out is open.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -eq 1 ] || usage "recommend.sh ORDER.json    (\"-\" reads standard input)"
check_environment
make_scratch
ask_about /v1/recommend "$1" || exit 2
cat "$scratch/answer"
echo
case $(cat "$scratch/answer") in
    *'"plans":[]'*) exit 1 ;;
    *'"plans":[{'*) exit 0 ;;
    *) say "the answer holds no plans"; exit 2 ;;
esac
