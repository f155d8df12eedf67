# Shared by the recipes; sourced, not run. They need a POSIX shell, sed, mktemp and curl 7.76 or newer.
#
# Exit codes: 0 it can be done, or the answer is there; 1 it cannot; 2 the question could not be put: wrong use, a
# malformed order, a name the book does not have, or no service; 3 not without more being said.

say() {
    printf '%s\n' "$*" >&2
}

usage() {
    say "use: $*"
    exit 2
}

# Where the token may go in the clear: this machine only.
check_environment() {
    : "${ACCORD_URL:=}" "${ACCORD_TOKEN:=}"
    if [ -z "$ACCORD_URL" ] || [ -z "$ACCORD_TOKEN" ]; then
        say "set ACCORD_URL to the service's address and ACCORD_TOKEN to your shop's key"
        exit 2
    fi
    ACCORD_URL=${ACCORD_URL%/}
    case $ACCORD_URL in
        *@* | *'"'* | *\\*) say "ACCORD_URL must be a plain address"; exit 2 ;;
        https://*) ;;
        http://localhost | http://localhost[:/]* | http://127.0.0.1 | http://127.0.0.1[:/]*) ;;
        "http://[::1]" | "http://[::1]"[:/]*) ;;
        *) say "ACCORD_URL must be https, unless it is this machine: others could read the key"; exit 2 ;;
    esac
    case $ACCORD_TOKEN in
        *[!A-Za-z0-9._~+/=-]*) say "ACCORD_TOKEN holds characters that no key has"; exit 2 ;;
    esac
}

# The answer goes to a file first: curl asks again when the service is busy, and would print every try.
make_scratch() {
    scratch=$(mktemp -d)
    trap 'rm -rf "$scratch"' EXIT
    trap 'exit 2' HUP INT TERM
}

# ask PATH [curl options]: the answer to $scratch/answer. Ends the script with 2 if there is none.
# The key goes through a file descriptor, since arguments can be read by every user of the machine.
# Repeating is safe: every question, the POSTs as well, only asks; what is recorded has an Idempotency-Key.
ask() {
    path=$1
    shift
    rm -f "$scratch/answer"
    if ! curl --silent --show-error --fail-with-body --globoff --output "$scratch/answer" \
        --connect-timeout 3 --max-time 15 --retry 2 --retry-connrefused --retry-max-time 30 \
        --header 'Accept: application/json' "$@" --config /dev/fd/3 "$ACCORD_URL$path" 3<<EOF
header = "Authorization: Bearer $ACCORD_TOKEN"
EOF
    then
        if [ -s "$scratch/answer" ]; then
            cat "$scratch/answer" >&2
            echo >&2
        fi
        return 2
    fi
}

# ask_about PATH ORDER.json [curl options]: post an order ("-" is standard input).
ask_about() {
    about=$1
    if [ "$2" = - ]; then
        cat > "$scratch/order"
    elif ! cat -- "$2" > "$scratch/order"; then
        return 2
    fi
    shift 2
    ask "$about" --header 'Content-Type: application/json' --data-binary "@$scratch/order" "$@"
}

# The page in $scratch/answer and all that follow it, one a line. Ends the script with 2 if one can't be had.
print_pages() {
    while :; do
        cat "$scratch/answer"
        echo
        # The last key of a page: a path on the same service, or null on the last one.
        page=$(sed -n '1s/.*,"next":"\(\/v1\/[^"]*\)"}$/\1/p' "$scratch/answer")
        [ -n "$page" ] || return 0
        ask "$page" || exit 2
    done
}

# The verdict in $scratch/answer. Answers are compact and keep the order of their keys, "id" and "verdict" first;
# whatever does not begin like this is no verdict.
verdict_word() {
    sed -n '1s/^{"id":"[^"]*","verdict":"\([a-z-]*\)".*/\1/p' "$scratch/answer"
}

# The exit code for a verdict's word; empty is no verdict, and a word that is not known here cannot be done.
code_of() {
    case $1 in
        accepted | conditional) echo 0 ;;
        undetermined) echo 3 ;;
        '') echo 2 ;;
        *) echo 1 ;;
    esac
}

# The graver of two exit codes: not put, not done, more to say, done.
worse_of() {
    for code in 2 1 3 0; do
        case $code in
            "$1" | "$2") echo "$code"; return ;;
        esac
    done
}

# A name as one step of a path: the names of the book need no escapes, so others are refused.
check_name() {
    case $1 in
        '' | *[!a-zA-Z0-9_.-]* | .*) say "'$1' is no name of the book"; exit 2 ;;
    esac
}
