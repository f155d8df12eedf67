#!/bin/sh
# Judges an order a line (NDJSON, "-" is standard input), any number of them, all by one revision of the book: verdict,
# tab, line number, tab, reference as JSON, in the same order, as they come. Ends with the gravest exit code of its lines.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -eq 1 ] || usage "validate-lines.sh ORDERS.ndjson    (\"-\" reads standard input)"
[ "$1" = - ] || [ -r "$1" ] || usage "validate-lines.sh ORDERS.ndjson    ('$1' can't be read)"
check_environment
make_scratch

# The answer's lines, none of which is held, whatever their number; a problem with the whole has no end line either.
ask_lines() {
    curl --silent --show-error --fail-with-body --globoff --no-buffer --connect-timeout 3 \
        --request POST --upload-file "$1" --header 'Content-Type: application/x-ndjson' \
        --header 'Accept: application/x-ndjson' --config /dev/fd/3 "$ACCORD_URL/v1/validate/batch" 3<<EOF
header = "Authorization: Bearer $ACCORD_TOKEN"
EOF
}

# Answers are compact and keep the order of their keys; a quote inside a reference has a backslash before it.
{ ask_lines "$1" || say "no whole answer"; } | awk '
    function tell(text) { print text | "cat >&2" }
    /^[{]"line":[0-9]+,"status":[0-9]+,"reference":/ {
        match($0, /^[{]"line":[0-9]+/)
        number = substr($0, 9, RLENGTH - 8)
        match($0, /,"reference":/)
        rest = substr($0, RSTART + RLENGTH)
        match(rest, /^(null|"([^"\\]|\\.)*")/)
        reference = substr(rest, 1, RLENGTH)
        rest = substr(rest, RLENGTH + 1)
        word = ""
        if (match(rest, /^,"answer":[{]"id":"[^"]*","verdict":"[a-z-]*"/)) {
            word = substr(rest, 1, RLENGTH - 1)
            sub(/.*"/, "", word)
        } else {
            tell("line " number ": " $0)
        }
        seen[word == "accepted" || word == "conditional" ? 0 : word == "undetermined" ? 3 : word == "" ? 2 : 1] = 1
        print (word == "" ? "unread" : word) "\t" number "\t" reference
        next
    }
    /^[{]"end":true,/ {
        whole = /"complete":true/
        if (!whole) tell("it had its turn; go on with next_line: " $0)
        next
    }
    { tell($0) }
    END {
        close("cat >&2")
        exit !whole || (2 in seen) ? 2 : (1 in seen) ? 1 : (3 in seen) ? 3 : 0
    }
'
