#!/bin/sh
# What do the book's numbers rest on, and how well? Prints the counts by room, and the safety limits, as JSON.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -eq 0 ] || usage "sources.sh"
check_environment
make_scratch
ask /v1/sourcing || exit 2
cat "$scratch/answer"
echo
