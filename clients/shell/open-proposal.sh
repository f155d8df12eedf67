#!/bin/sh
# Has a proposal's effect worked out, and waits for it: how far it is goes to standard error, the effect as JSON to
# standard output once it is done. Then the proposal is before the stewards. For its author, and stewards.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -eq 1 ] || usage "open-proposal.sh PROPOSAL"
check_name "$1"
check_environment
make_scratch
key=$(od -An -N16 -tx1 /dev/urandom | tr -d ' \n')
ask "/v1/proposals/$1/open" --request POST --header "Idempotency-Key: $key" || exit 2
while :; do
    ask "/v1/proposals/$1/effect" || exit 2
    # Answers are compact and keep the order of their keys; whatever does not begin like this is none.
    far=$(sed -n '1s/^{"proposal_id":"[^"]*","state":"\([a-z]*\)","orders":\([0-9a-z]*\),"replayed":\([0-9]*\),"time_left_s":\([0-9a-z]*\),.*/\1 \2 \3 \4/p' "$scratch/answer")
    # shellcheck disable=SC2086 # four words
    set -- "$1" $far
    case ${2:-} in
        working) say "$4 of $3 orders; seconds left: $5" ;;
        done) break ;;
        *) cat "$scratch/answer" >&2; exit 1 ;;
    esac
    sleep 2
done
cat "$scratch/answer"
echo
