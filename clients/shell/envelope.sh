#!/bin/sh
# What does this order leave open, and between which bounds? Prints ranges by press as JSON.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -eq 1 ] || usage "envelope.sh ORDER.json    (\"-\" reads standard input)"
check_environment
make_scratch
ask_about /v1/envelope "$1" || exit 2
cat "$scratch/answer"
echo
case $(cat "$scratch/answer") in
    *'"presses":[]'*) exit 1 ;;
    *'"presses":["'*) exit 0 ;;
    *) say "the answer holds no presses"; exit 2 ;;
esac
