#!/bin/sh
# Can this order be done? Prints the verdict as JSON.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -eq 1 ] || usage "validate.sh ORDER.json    (\"-\" reads standard input)"
check_environment
make_scratch
ask_about /v1/validate "$1" || exit 2
cat "$scratch/answer"
echo
case $(verdict_word) in
    accepted | conditional) exit 0 ;;
    '') say "the answer is no verdict"; exit 2 ;;
    *) exit 1 ;; # rejected, undetermined, or a word of a later service
esac
