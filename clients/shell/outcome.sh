#!/bin/sh
# Reports how one pressed piece of a recorded order came out: "good", or what failed. Prints the report as JSON.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -ge 2 ] && [ $# -le 4 ] || usage "outcome.sh RECORD good|FAILURE [WASHES [DECORATION]]"
check_name "$1"
check_name "$2"
for number in "${3-0}" "${4-0}"; do
    case $number in
        '' | *[!0-9]*) usage "outcome.sh RECORD good|FAILURE [WASHES [DECORATION]]    (WASHES, DECORATION: whole numbers)" ;;
    esac
done
case $2 in
    good) said='"result":"good"' ;;
    *) said="\"result\":\"failed\",\"failure\":\"$2\"" ;;
esac
check_environment
make_scratch
printf '{%s%s%s}' "$said" "${3+,\"washes\":$3}" "${4+,\"decoration\":$4}" > "$scratch/outcome"
key=$(od -An -N16 -tx1 /dev/urandom | tr -d ' \n')
ask_about "/v1/records/$1/outcomes" "$scratch/outcome" --header "Idempotency-Key: $key" || exit 2
cat "$scratch/answer"
echo
