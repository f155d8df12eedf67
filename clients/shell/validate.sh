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
word=$(verdict_word)
[ -n "$word" ] || say "the answer is no verdict"
exit "$(code_of "$word")"
