#!/bin/sh
# What is in the book? Without a kind: the kinds. With a kind: its entries, a page of JSON a line. With a name: one.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -le 2 ] || usage "catalogue.sh [KIND [NAME]]    (blanks, transfers, fibres ...)"
check_environment
make_scratch
if [ $# -eq 0 ]; then
    ask /v1/catalogue || exit 2
    cat "$scratch/answer"
    echo
    exit 0
fi
check_name "$1"
if [ $# -eq 2 ]; then
    check_name "$2"
    ask "/v1/catalogue/$1/$2" || exit 2
    cat "$scratch/answer"
    echo
    exit 0
fi
page="/v1/catalogue/$1?limit=200"
while [ -n "$page" ]; do
    ask "$page" || exit 2
    cat "$scratch/answer"
    echo
    # The last key of a page: a path on the same service, or null on the last one.
    page=$(sed -n '1s/.*,"next":"\(\/v1\/[^"]*\)"}$/\1/p' "$scratch/answer")
done
