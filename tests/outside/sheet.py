"""Opens the spreadsheet of every demo in LibreOffice, without a screen: python3 sheet.py PROGRAM FOLDER SITE.toml...

First as it is: a copy without the values that came with the formulas is worked out anew, and every cell must come to ours.
Then with another input: a volume, and the last reading of carbonate hardness, are changed a little in the spreadsheet, and
in a copy of the site file or the log. What LibreOffice makes of the first must be what a fresh run of ours says of the
second, line by line. Lines that rest on a solved value, or on a number of the daily balance, that came out otherwise cannot
follow; neither can lines that the fresh run makes by another formula. Both are counted and said; enough must be left.
"""

import json
import pathlib
import re
import shutil
import subprocess
import sys

import openpyxl

NEAR = 1e-9
# Of the lines that can follow: this share must be made by the same formulas in the fresh run.
ENOUGH = 0.9
# Lines that must have moved with the input, else nothing was tried.
MOVED = 5


def figures(program, site, form, path):
    """Our own figures in a file."""
    command = [program, "figures", str(site), "--format", form, "-o", str(path)]
    subprocess.run(command, check=True, capture_output=True, text=True)
    return path


def recalculated(book, folder, name):
    """What LibreOffice makes of the formulas alone: cells by sheet and place."""
    bare, out = folder / f"{name}.xlsx", folder / "recalculated"
    # openpyxl writes formulas without the values they had.
    book.save(bare)
    profile = (folder / "profile").resolve().as_uri()
    command = ["soffice", "--headless", f"-env:UserInstallation={profile}", "--convert-to", "xlsx:Calc MS Excel 2007 XML"]
    subprocess.run([*command, "--outdir", str(out), str(bare)], check=True, capture_output=True, timeout=300)
    return openpyxl.load_workbook(out / f"{name}.xlsx", data_only=True)


def near(a, b, room=1e-13):
    """Whether two cells are the same: words and truth values as they are, numbers to NEAR."""
    if isinstance(a, bool) or isinstance(b, bool) or not isinstance(a, (int, float)) or not isinstance(b, (int, float)):
        return a == b
    return abs(a - b) <= NEAR * abs(a) + room


def columns(sheet):
    """Place of each column by its head."""
    return {cell.value: cell.column for cell in sheet[1]}


def rows(book, sheet, key):
    """Row numbers of a sheet by what stands in a column."""
    column = columns(book[sheet])[key]
    found = {}
    for (cell,) in book[sheet].iter_rows(min_row=2, min_col=column, max_col=column):
        if cell.value is not None:
            found[cell.value] = cell.row
    return found


def as_it_is(path, folder, name, json_path):
    """Every formula of the workbook, and every line against the figures for other programs."""
    formulas, ours = openpyxl.load_workbook(path), openpyxl.load_workbook(path, data_only=True)
    theirs = recalculated(formulas, folder, name)
    wrong, seen = [], 0
    for sheet in formulas:
        heads = {column: head for head, column in columns(sheet).items()}
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type != "f":
                    continue
                seen += 1
                a, b = (book[sheet.title][cell.coordinate].value for book in (ours, theirs))
                # A difference is held to the size of what it is the difference of, what is left of an equation to a share.
                head = heads.get(cell.column)
                beside = sheet.cell(cell.row, cell.column - 1).value if head in ("Difference", "Left of the equation") else 0
                room = NEAR * abs(beside) + 1e-13 if isinstance(beside, (int, float)) else 1e-13
                if head == "Left of the equation":
                    room = max(room, 1e-10)
                if not near(a, b, room):
                    wrong.append(f"{sheet.title}!{cell.coordinate} {cell.value}: ours {a!r}, LibreOffice {b!r}")
    lines, place = rows(ours, "Workings", "Id"), columns(ours["Workings"])
    said = json.loads(pathlib.Path(json_path).read_text())
    for line in said:
        seen += 1
        found = theirs["Workings"].cell(lines[line["id"]], place["Result"]).value
        if not near(line["value"], found):
            wrong.append(f"{line['id']}: ours {line['value']!r}, LibreOffice {found!r}")
    if len(said) != len(lines):
        wrong.append(f"{len(said)} figures, {len(lines)} lines")
    place = columns(theirs["Solved"])
    for row in range(2, theirs["Solved"].max_row + 1):
        if theirs["Solved"].cell(row, place["Near nothing"]).value not in (None, True):
            wrong.append(f"Solved, row {row}: the equation is left open")
    for row in range(2, theirs["Limits"].max_row + 1):
        if theirs["Limits"].cell(row, columns(theirs["Limits"])["Kept"]).value is not True:
            wrong.append(f"Limits, row {row}: not kept")
    return wrong, seen


def changed_line(text, number, factor):
    """A text with the first number in quotes on a line made larger."""
    lines = text.split("\n")
    whole = re.sub(
        r'"(-?[\d,.]+)',
        lambda found: '"' + repr(round(float(found[1].replace(",", "")) * factor, 9)),
        lines[number - 1],
        count=1,
    )
    if whole == lines[number - 1]:
        raise SystemExit(f"no number to change in: {whole}")
    lines[number - 1] = whole
    return "\n".join(lines)


def changed_reading(text, head, factor):
    """A log with the last reading of a column made larger, and the number of its line."""
    lines = text.rstrip("\n").split("\n")
    column = next(n for n, words in enumerate(lines[0].split(",")) if words.startswith(head))
    last = max(n for n, line in enumerate(lines) if n and re.fullmatch(r"[\d.]+", line.split(",")[column]))
    cells = lines[last].split(",")
    cells[column] = repr(round(float(cells[column]) * factor, 9))
    lines[last] = ",".join(cells)
    return "\n".join(lines) + "\n", last + 1


def resting(book, moved):
    """Names of all cells that rest on these, by the names in their formulas."""
    uses = {}
    for name, defined in book.defined_names.items():
        sheet, cell = defined.attr_text.replace("$", "").split("!")
        formula = str(book[sheet][cell].value)
        # Cells of the same row stand behind a name too: the exact value of a rounding, the value of an input.
        seen, text, wait = set(), "", [(sheet, formula)]
        while wait:
            at, formula = wait.pop()
            text += " " + formula
            for place in re.findall(r"(?<![\w.])[A-Z]{1,2}\d+(?![\w(])", formula):
                if place not in seen:
                    seen.add(place)
                    wait.append((at, str(book[at][place].value)))
        uses[name] = set(re.findall(r"[A-Za-z_][A-Za-z_0-9]*", text)) & set(book.defined_names)
    found = set(moved)
    while True:
        more = {name for name, used in uses.items() if name not in found and used & found}
        if not more:
            return found
        found |= more


def changed(program, folder, name, path, site, what):
    """One input changed in the spreadsheet, and in a copy of the site; line by line."""
    copy = folder / f"{name}-{what}"
    shutil.copytree(site.parent, copy)
    before, ours = openpyxl.load_workbook(path), openpyxl.load_workbook(path, data_only=True)
    place = columns(before["Inputs"])
    inputs = rows(before, "Inputs", "Cell")

    def of(book, row, head):
        return book["Inputs"].cell(row, place[head]).value

    if what == "volume":
        titles = ("water meter at filling", "long axis", "length")
        wanted = [row for title in titles for row in inputs.values() if of(ours, row, "What it is") == title]
        origin = of(ours, wanted[0], "Where it comes from")
        text = (copy / "site.toml").read_text()
        (copy / "site.toml").write_text(changed_line(text, int(origin.rsplit(" ", 1)[1]), 1.002))
    else:
        text, line = changed_reading((copy / "log.csv").read_text(), "carbonate hardness", 1.004)
        (copy / "log.csv").write_text(text)
        origin = f"log line {line}"
    fresh = figures(program, copy / "site.toml", "xlsx", folder / f"{name}-{what}-fresh.xlsx")
    after, afresh = openpyxl.load_workbook(fresh), openpyxl.load_workbook(fresh, data_only=True)
    inputs_after = rows(after, "Inputs", "Cell")
    # The rows of the place that was changed take the new reading; the others that came out otherwise cannot follow.
    set_rows, lost = [], set()
    for cell, row in inputs.items():
        there = inputs_after.get(cell)
        value = None if there is None else of(afresh, there, "SI value")
        if value is not None and near(of(ours, row, "SI value"), value, 0):
            continue
        if value is not None and of(ours, row, "Where it comes from") == origin:
            before["Inputs"].cell(row, place["Value"]).value = of(afresh, there, "Value")
            set_rows.append(of(ours, row, "What it is"))
        else:
            lost.add(cell)
    if not set_rows:
        return [f"{what}: nothing was changed"], 0
    solved, at = rows(ours, "Solved", "Cell"), columns(ours["Solved"])
    solved_after = rows(afresh, "Solved", "Cell")
    for cell, row in solved.items():
        there = solved_after.get(cell)
        fixed = before["Solved"].cell(row, at["Value, SI"]).data_type != "f"
        if there is None or fixed and not near(
            ours["Solved"].cell(row, at["Value, SI"]).value, afresh["Solved"].cell(there, at["Value, SI"]).value, 0
        ):
            lost.add(cell)
    cannot = resting(before, lost)
    theirs = recalculated(before, folder, f"{name}-{what}-changed")
    lines, lines_after, at = rows(ours, "Workings", "Id"), rows(afresh, "Workings", "Id"), columns(ours["Workings"])
    wrong, compared, moved, left, other = [], 0, 0, 0, 0
    for identity, row in lines.items():
        there = lines_after.get(identity)
        cell = ours["Workings"].cell(row, at["Cell"]).value
        if cell in cannot:
            left += 1
            continue
        same = there and all(
            before["Workings"].cell(row, at[head]).value == after["Workings"].cell(there, at[head]).value
            for head in ("Result, SI", "Unit")
        )
        if not same:
            other += 1
            continue
        compared += 1
        was, is_now, found = (
            book["Workings"].cell(n, at["Result"]).value for book, n in ((ours, row), (afresh, there), (theirs, row))
        )
        moved += not near(was, is_now)
        if not near(is_now, found):
            wrong.append(f"{what}: {identity}: ours {is_now!r}, LibreOffice {found!r}, before {was!r}")
    print(
        f"{name}, {what} ({', '.join(set_rows)}): {compared} lines compared, {moved} of them moved; "
        f"{left} rest on what is not recomputed, {other} are made otherwise"
    )
    if compared < ENOUGH * (compared + other):
        wrong.append(f"{what}: only {compared} of {compared + other} lines kept their formulas")
    if moved < MOVED:
        wrong.append(f"{what}: only {moved} lines moved")
    return wrong, compared


def main(program, folder, sites):
    """Every site; the exit code says whether all is well."""
    folder = pathlib.Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    total, bad = 0, False
    for site in map(pathlib.Path, sites):
        name = site.parent.name
        path = figures(program, site, "xlsx", folder / f"{name}-ours.xlsx")
        again = figures(program, site, "xlsx", folder / f"{name}-again.xlsx")
        wrong, seen = as_it_is(path, folder, name, figures(program, site, "json", folder / f"{name}.json"))
        if path.read_bytes() != again.read_bytes():
            wrong.append("two runs, two files")
        for what in ("volume", "hardness"):
            more, counted = changed(program, folder, name, path, site, what)
            wrong += more
            seen += counted
        total += seen
        for each in wrong[:20]:
            bad = True
            print(f"{name}: {each}")
    print(f"compared {total} cells in {len(sites)} spreadsheets")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2], sys.argv[3:]))
