#!/bin/sh
# Takes back a report on a piece that was made with this key, or by its holder. Prints the report as JSON.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -eq 2 ] || usage "withdraw-outcome.sh RECORD OUTCOME"
check_name "$1"
check_name "$2"
check_environment
make_scratch
key=$(od -An -N16 -tx1 /dev/urandom | tr -d ' \n')
ask "/v1/records/$1/outcomes/$2/withdraw" --request POST --header "Idempotency-Key: $key" || exit 2
cat "$scratch/answer"
echo
