#!/bin/sh
# What may rules speak of? Without a name: every fact, a page of JSON a line. With a name: one.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -le 1 ] || usage "facts.sh [NAME]    (item.polyester_share ...)"
check_environment
make_scratch
if [ $# -eq 0 ]; then
    ask "/v1/facts?limit=200" || exit 2
    print_pages
    exit 0
fi
check_name "$1"
ask "/v1/facts/$1" || exit 2
cat "$scratch/answer"
echo
