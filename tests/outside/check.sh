#!/usr/bin/env bash
# Checks with outside programs: qpdf reads every PDF without a remark, pdftotext finds the amounts in reading order, and
# two processes write the same bytes. Needs qpdf and poppler-utils. Run from anywhere: bash tests/outside/check.sh
set -euo pipefail
cd "$(dirname "$0")/../.."
cargo build --quiet --release
program=target/release/weirbook
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
count=0
fail() { echo "FAILED: $1"; exit 1; }

for site in demo-sites/*/site.toml; do
    name=$(basename "$(dirname "$site")")
    for turn in first second; do
        "$program" plan "$site" -o "$work/$turn" --edition care-plan --edition shed-sheet --edition workings \
            >"$work/$name.said" 2>"$work/$name.complaints" || { cat "$work/$name.complaints"; fail "$name: no plan"; }
    done
    for edition in care-plan shed-sheet workings; do
        pdf="$work/first/$name-$edition.pdf"
        cmp "$pdf" "$work/second/$name-$edition.pdf" || fail "$pdf: two runs, two files"
        said=$(qpdf --check "$pdf" 2>&1) || { echo "$said"; fail "$pdf: qpdf"; }
        if grep -qi warning <<<"$said"; then echo "$said"; fail "$pdf: qpdf warns"; fi
        # Every face is embedded and subset, and carries its text back out.
        pdffonts "$pdf" | awk 'NR > 2 && !/yes yes yes/ { print; bad = 1 } END { exit bad }' || fail "$pdf: fonts"
        pdfinfo "$pdf" | grep -q '^Tagged: *yes' || fail "$pdf: not tagged"
        count=$((count + 4))
    done
    text=$(pdftotext "$work/first/$name-care-plan.pdf" - | tr '\n\f\302\240' '  ' | tr -s ' ')
    # The amounts that the program prints on the terminal stand on the page, in the order of the steps.
    rest=$text
    while read -r amount; do
        case "$rest" in
            *"$amount"*) rest=${rest#*"$amount"} ;;
            *) fail "$name: '$amount' is not on the page, or out of order" ;;
        esac
        count=$((count + 1))
    done < <(sed -nE 's/^(dose|change) +([^,]*) of .*/\2/p; s/^change +([0-9,]+ [a-z]+), .*/\1/p' "$work/$name.said" \
        | tr '\302\240' '  ' | tr -s ' ')
    for words in "What to do now" "Signs of trouble" "Cautions" "Workings" "Sources"; do
        case "$text" in *"$words"*) count=$((count + 1)) ;; *) fail "$name: '$words' is missing" ;; esac
    done
done
echo "outside checks: $count passed"
