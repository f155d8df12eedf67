#!/bin/sh
# Judges an order a line (NDJSON, "-" is standard input), or an order a row of a table (.csv, its first row the headers),
# any number of them, all by one revision of the book: verdict, tab, line or row, tab, reference as JSON, in the same
# order, as they come. Ends with the gravest exit code of its lines.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -eq 1 ] || usage "validate-lines.sh ORDERS.ndjson|ORDERS.csv    (\"-\" reads lines from standard input)"
[ "$1" = - ] || [ -r "$1" ] || usage "validate-lines.sh ORDERS.ndjson|ORDERS.csv    ('$1' can't be read)"
check_environment
make_scratch
case $1 in
    *.csv | *.CSV) media_type=text/csv ;;
    *) media_type=application/x-ndjson ;;
esac

# ask_lines QUERY: the answer's lines, none of which is held, whatever their number; a problem with the whole has no end
# line either.
ask_lines() {
    curl --silent --show-error --fail-with-body --globoff --no-buffer --connect-timeout 3 \
        --request POST --upload-file "$file" --header "Content-Type: $media_type" \
        --header 'Accept: application/x-ndjson' --config /dev/fd/3 "$ACCORD_URL/v1/validate/batch$1" 3<<EOF
header = "Authorization: Bearer $ACCORD_TOKEN"
EOF
}

# Answers are compact and keep the order of their keys; a quote inside a reference has a backslash before it. What is to
# be gone on with goes to the file "on": where others wait for the service, an answer ends before the last line.
print_lines() {
    awk -v on="$scratch/on" '
        function tell(text) { print text | "cat >&2" }
        function number_of(name, text) {
            if (!match(text, "\"" name "\":[0-9]+")) return ""
            return substr(text, RSTART + length(name) + 3, RLENGTH - length(name) - 3)
        }
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
            ended = 1
            if (match($0, /"broken_row":[0-9]+/)) {
                tell("not complete: a quoted cell of row " number_of("broken_row", $0) " is not closed, and no row after it is read")
                broken = 1
            } else if (!/"complete":true/)
                print "?from_line=" number_of("next_line", $0) "&revision=" number_of("revision", $0) > on
            if (match($0, /"columns_left_out":[[]"[^]]*/))
                tell("columns that are not read: " substr($0, RSTART + 20, RLENGTH - 20))
            next
        }
        { tell($0) }
        END {
            close("cat >&2")
            exit !ended || broken || (2 in seen) ? 2 : (1 in seen) ? 1 : (3 in seen) ? 3 : 0
        }
    '
}

file=$1
query=
worst=0
while :; do
    rm -f "$scratch/on"
    code=0
    { ask_lines "$query" || say "no whole answer"; } | print_lines || code=$?
    worst=$(worse_of "$worst" "$code")
    [ -s "$scratch/on" ] || exit "$worst"
    before=$query
    query=$(cat "$scratch/on")
    if [ "$file" = - ] || [ "$query" = "$before" ]; then
        say "it had its turn; the lines that are left can be asked with $query"
        exit 2
    fi
done
