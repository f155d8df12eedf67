#!/bin/sh
# Has an order judged and kept with its answer: one record for each job. Prints the record as JSON.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -eq 1 ] || [ $# -eq 2 ] || usage "record.sh ORDER.json [KEY]    (\"-\" reads standard input)"
key=${2-$(od -An -N16 -tx1 /dev/urandom | tr -d ' \n')}
case $key in
    '' | *[!A-Za-z0-9._-]*) usage "record.sh ORDER.json [KEY]    (KEY: letters, digits, . _ -)" ;;
esac
check_environment
make_scratch
ask_about /v1/records "$1" --header "Idempotency-Key: $key" || exit 2
cat "$scratch/answer"
echo
