#!/bin/sh
# What was recorded: all of it, or the records with one reference; newest first, one page a line, as JSON.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -le 1 ] || usage "records.sh [REFERENCE]"
check_environment
make_scratch
if [ $# -eq 1 ]; then
    ask /v1/records --get --data-urlencode "reference=$1" || exit 2
else
    ask /v1/records || exit 2
fi
print_pages
