#!/bin/sh
# Enters what a probe read on a press: "reading.sh bench 2026-03-02 '180 °C' '177 °C' '175 °C'". An owner's counts at
# once, an operator's waits for the owner. Prints the reading as JSON. One that is unlikely is refused with a word for
# each doubt; if it was read so, it is entered with these words before it: "reading.sh --despite old bench ...".
set -eu
. "$(dirname -- "$0")/common.sh"

use="reading.sh [--despite DOUBT]... PRESS YYYY-MM-DD DISPLAY SURFACE..."
despite=
while [ "${1:-}" = --despite ]; do
    [ $# -ge 2 ] || usage "$use"
    check_name "$2"
    despite="$despite${despite:+,}\"$2\""
    shift 2
done
[ $# -ge 4 ] || usage "$use"
check_name "$1"
check_name "$2"
press=$1
day=$2
shift 2
for quantity in "$@"; do
    case $quantity in
        *'"'* | *\\*) usage "$use    (such as '180 °C')" ;;
    esac
done
display=$1
shift
surface=
for spot in "$@"; do
    surface="$surface${surface:+,}\"$spot\""
done
check_environment
make_scratch
printf '{"taken_on":"%s","display":"%s","surface":[%s],"despite":[%s]}' "$day" "$display" "$surface" "$despite" \
    > "$scratch/reading"
key=$(od -An -N16 -tx1 /dev/urandom | tr -d ' \n')
ask_about "/v1/shop/presses/$press/readings" "$scratch/reading" --header "Idempotency-Key: $key" || exit 2
cat "$scratch/answer"
echo
