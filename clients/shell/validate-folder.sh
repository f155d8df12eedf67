#!/bin/sh
# Judges every *.json of a folder, one line a file: the verdict, a tab, the file. Ends with the worst exit code.
set -eu
. "$(dirname -- "$0")/common.sh"

[ $# -eq 1 ] || usage "validate-folder.sh FOLDER"
[ -d "$1" ] || usage "validate-folder.sh FOLDER    ('$1' is none)"
check_environment
make_scratch
worst=0
found=0
for file in "$1"/*.json; do
    [ -e "$file" ] || continue
    found=$((found + 1))
    word=
    if ask_about /v1/validate "$file"; then
        word=$(verdict_word)
    else
        say "that was $file"
    fi
    worst=$(worse_of "$worst" "$(code_of "$word")")
    printf '%s\t%s\n' "${word:-unread}" "$file"
done
if [ "$found" -eq 0 ]; then
    say "no *.json in $1"
    exit 2
fi
exit "$worst"
