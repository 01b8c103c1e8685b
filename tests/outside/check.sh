#!/usr/bin/env bash
# Checks with outside programs, over every edition of every demo in both paper sizes: two processes write the same bytes;
# qpdf reads every PDF without a remark; pdftotext finds the amounts in reading order, words that are searched for, and
# tables row by row; the structure is read back; the files inside are those that went in, and the plan made again from
# them is the same, also after qpdf has saved it in its own way; `outloud` finds no error
# against PDF/UA-1; LibreOffice works the spreadsheet of the workings out as we did, and so with another volume or hardness.
# Needs qpdf, poppler-utils, LibreOffice Calc, and a Python with `outloud` and `openpyxl` (OUTSIDE_PYTHON names it; .ci/run
# makes one). Run from anywhere: bash tests/outside/check.sh
set -euo pipefail
cd "$(dirname "$0")/../.."
cargo build --quiet --release
program=target/release/weirbook
python=${OUTSIDE_PYTHON:-target/outside/bin/python3}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
count=0
pdfs=()
fail() { echo "FAILED: $1"; exit 1; }
has() { case "$1" in *"$2"*) count=$((count + 1)) ;; *) fail "$3: '$2' is missing" ;; esac }

# A run of more than a second says so on a terminal, and nowhere else.
if command -v script >/dev/null; then
    long="$program forecast demo-sites/quoyle-end/site.toml --members 60000"
    script -qec "$long >$work/forecast" /dev/null </dev/null >"$work/terminal"
    grep -q '^working ' "$work/terminal" || fail "a long run says nothing on a terminal"
    $long 2>"$work/pipe" >/dev/null
    if grep -q '^working ' "$work/pipe"; then fail "a long run talks into a pipe"; fi
    count=$((count + 2))
fi

for paper in A4 Letter; do
    for site in demo-sites/*/site.toml; do
        name=$(basename "$(dirname "$site")")
        mkdir -p "$work/sites/$paper"
        cp -r "$(dirname "$site")" "$work/sites/$paper/$name"
        site="$work/sites/$paper/$name/site.toml"
        sed -i "s/^paper = \"[^\"]*\"/paper = \"$paper\"/" "$site"
        first="$work/first/$paper"
        for turn in first second; do
            "$program" plan "$site" -o "$work/$turn/$paper" --edition care-plan --edition shed-sheet --edition workings \
                >"$work/$name.said" 2>"$work/$name.complaints" || { cat "$work/$name.complaints"; fail "$name: no plan"; }
        done
        for edition in care-plan shed-sheet workings; do
            pdf="$first/$name-$edition.pdf"
            pdfs+=("$pdf")
            cmp "$pdf" "$work/second/$paper/$name-$edition.pdf" || fail "$pdf: two runs, two files"
            said=$(qpdf --check "$pdf" 2>&1) || { echo "$said"; fail "$pdf: qpdf"; }
            if grep -qi warning <<<"$said"; then echo "$said"; fail "$pdf: qpdf warns"; fi
            # Every face is embedded and subset, and carries its text back out.
            pdffonts "$pdf" | awk 'NR > 2 && !/yes yes yes/ { print; bad = 1 } END { exit bad }' || fail "$pdf: fonts"
            pdfinfo "$pdf" | grep -q '^Tagged: *yes' || fail "$pdf: not tagged"
            structure=$(pdfinfo -struct-text "$pdf" 2>"$work/remarks")
            [ -s "$work/remarks" ] && { cat "$work/remarks"; fail "$pdf: its structure is remarked upon"; }
            has "$structure" "H1 (block)" "$pdf"
            if [ "$edition" = care-plan ]; then has "$structure" "Figure" "$pdf"; fi
            # The files inside are those that went in.
            files=$(pdfdetach -list "$pdf")
            for file in site.toml log.csv workings.json workings.xlsx made-with.json letterhead; do has "$files" "$file" "$pdf"; done
            mkdir -p "$work/inside"
            pdfdetach -saveall -o "$work/inside" "$pdf"
            cmp "$work/inside/site.toml" "$site" || fail "$pdf: the site file inside is another"
            cmp "$work/inside/log.csv" "$(dirname "$site")/log.csv" || fail "$pdf: the log inside is another"
            "$program" figures "$site" --format json 2>/dev/null >"$work/figures.json"
            "$python" -c 'import json, sys; a, b = (json.load(open(f)) for f in sys.argv[1:]); sys.exit(a != b)' \
                "$work/inside/workings.json" "$work/figures.json" || fail "$pdf: the workings inside are others"
            "$program" figures "$site" --format xlsx 2>/dev/null >"$work/figures.xlsx"
            cmp "$work/inside/workings.xlsx" "$work/figures.xlsx" || fail "$pdf: the spreadsheet inside is another"
            rm -r "$work/inside"
            # The plan made again from them is the same; also when qpdf has saved it in its own way. Locked, it is refused.
            "$program" audit "$pdf" | grep -q 'byte for byte' || fail "$pdf: made again, it is another"
            qpdf --linearize --object-streams=disable --stream-data=uncompress "$pdf" "$work/again.pdf"
            "$program" audit "$work/again.pdf" >"$work/audited" || { cat "$work/audited"; fail "$pdf: saved again, it differs"; }
            qpdf --encrypt "" owner 256 -- "$pdf" "$work/locked.pdf"
            code=0; "$program" audit "$work/locked.pdf" >"$work/audited" 2>&1 || code=$?
            [ "$code" = 2 ] || fail "$pdf: locked, audit says $code"
            has "$(cat "$work/audited")" "error[encrypted]" "$pdf, locked"
            count=$((count + 13))
        done
        text=$(pdftotext "$first/$name-care-plan.pdf" - | tr '\n\f' '  ' | sed 's/\xc2\xa0/ /g' | tr -s ' ')
        # The amounts that the program prints on the terminal stand on the page, in the order of the steps.
        rest=$text
        while read -r amount; do
            case "$rest" in
                *"$amount"*) rest=${rest#*"$amount"} ;;
                *) fail "$name: '$amount' is not on the page, or out of order" ;;
            esac
            count=$((count + 1))
        done < <(sed -nE 's/^(dose|change) +([^,]*) of .*/\2/p; s/^change +([0-9,]+ [a-z]+), .*/\1/p' "$work/$name.said" \
            | sed 's/\xc2\xa0/ /g' | tr -s ' ')
        # What a reader would look for, typed as on a keyboard that has the signs.
        for words in "What to do now" "Signs of trouble" "Cautions" "Workings" "Sources" "°dKH" "CaCO₃" "µS/cm" "m³" " − "; do
            has "$text" "$words" "$name-care-plan"
        done
    done
done

echo "== structure, fonts, words =="
"$python" tests/outside/check.py "${pdfs[@]}"
echo "== spreadsheet =="
"$python" tests/outside/sheet.py "$program" "$work/sheets" demo-sites/*/site.toml
echo "== PDF/UA-1 =="
# Its errors stop the run. Its remarks are shown only: where three pages happen to begin with a note at one height, it takes the
# notes for running heads. TAG-002 looks for prose among artifacts, and takes the repeated head of a wide table for prose.
"$(dirname "$python")/outloud" --quiet --skip TAG-002 "${pdfs[@]}"
count=$((count + ${#pdfs[@]} * 2))
echo "outside checks: $count passed"
