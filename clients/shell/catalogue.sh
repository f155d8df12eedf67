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
ask "/v1/catalogue/$1?limit=200" || exit 2
print_pages
