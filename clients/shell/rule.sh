#!/bin/sh
# What does a rule say, and what does it rest on? Prints it as JSON; a verdict's findings name the ids.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -eq 1 ] || usage "rule.sh ID"
check_environment
check_name "$1"
make_scratch
ask "/v1/rules/$1" || exit 2
cat "$scratch/answer"
echo
