"""Looks into finished PDFs with pikepdf and fontTools: python3 check.py FILE.pdf...

Numbers of marked content, structure tree and parent tree say the same; every operator that paints is tagged or an artifact;
widths in the file are those of the embedded program; every code that is shown has a text; the words come out of pdftotext
as they were set, tables row by row. Prints what is wrong and exits with 1, else says how much it looked at.
"""

import io
import re
import subprocess
import sys

import pikepdf
from fontTools.cffLib import CFFFontSet

PAINT = {"S", "s", "f", "F", "f*", "B", "B*", "b", "b*", "sh", "Do", "EI", "Tj", "TJ", "'", '"'}


def unicode_map(font):
    """Codes of the ToUnicode map."""
    text = font.ToUnicode.read_bytes().decode("latin-1")
    return {int(code, 16): words for code, words in re.findall(r"<([0-9A-Fa-f]{4})> <([0-9A-Fa-f]+)>", text)}


def widths(descendant):
    """Width of each code that the file lists."""
    found, entries = {}, list(descendant.W)
    while entries:
        start, second = int(entries.pop(0)), entries.pop(0)
        if isinstance(second, pikepdf.Array):
            found.update({start + n: float(width) for n, width in enumerate(second)})
        else:
            width = float(entries.pop(0))
            found.update({code: width for code in range(start, int(second) + 1)})
    return found


def program_widths(descriptor):
    """Width of each glyph of the embedded program, by its CID."""
    program = CFFFontSet()
    program.decompile(io.BytesIO(descriptor.FontFile3.read_bytes()), None)
    top = program[0]
    found = {}
    for name in top.CharStrings.keys():
        charstring = top.CharStrings[name]
        charstring.draw(_Pen())
        found[int(name[3:]) if name.startswith("cid") else 0] = charstring.width
    return found


class _Pen:
    """Takes an outline and forgets it."""

    def __getattr__(self, _name):
        return lambda *_args: None


def tree(element, found):
    """Owners of marked content, by page and number."""
    page = element.get("/Pg")
    kids = element.get("/K")
    for kid in [] if kids is None else kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, int):
            found[(page.objgen, kid)] = element.objgen
        elif "/MCID" in kid:
            found[(kid.get("/Pg", page).objgen, int(kid.MCID))] = element.objgen
        elif "/S" in kid:
            tree(kid, found)


def said_by(*command):
    """What a program prints."""
    return subprocess.run(command, capture_output=True, check=True, text=True).stdout


def bare(text):
    """A text without spaces, and without hyphens: pdftotext takes one at the end of a line for a broken word."""
    return re.sub(r"[\s\u00a0-]+", "", text)


def tables(path):
    """All tables from the structure tree: rows of cells, each its words. Line numbers in the margin are left aside: they are
    drawn after the row they belong to."""
    found, table, link = [], None, None
    for line in said_by("pdfinfo", "-struct-text", path).splitlines():
        depth, words = len(line) - len(line.lstrip()), line.strip()
        if link is not None and words and depth <= link:
            link = None
        if re.match(r"Table\b", words):
            table = depth
            found.append([])
        elif table is not None and words and depth <= table:
            table = None
        elif table is not None and words == "TR":
            found[-1].append([])
        elif table is not None and re.match(r"T[HD]\b", words):
            found[-1][-1].append("")
        elif table is not None and re.match(r"Link\b", words):
            link = depth
        elif table is not None and words.startswith('"') and found[-1] and found[-1][-1]:
            if link is None or not re.fullmatch(r'"[\d, –]+"', words):
                found[-1][-1][-1] += words[1:-1]
    return found


def words_come_out(path):
    """What is wrong with the text that pdftotext returns in each of its modes, and how many things were looked at.

    As drawn (-raw), every row is one run, from its name to its last cell. As it stands on the page (-layout), every row of
    one line is one line. By default pdftotext takes gaps for columns, and finds a table by squares of four cells that line up:
    a cell beside or between empty ones, or under a row of another height, belongs to no square and is put after the table. So
    there rows are asked for in tables of up to four columns, without empty cells, whose rows have one line each; in others every
    cell comes out.
    """
    wrong = []
    text, raw, layout = (said_by("pdftotext", *mode, path, "-") for mode in ([], ["-raw"], ["-layout"]))
    for each in re.findall("[\ufb00-\ufb06\ue000-\uf8ff\ufffd\u00ad\u200b]", text + raw + layout):
        wrong.append(f"U+{ord(each):04X} comes out")
    default, drawn = bare(text), bare(raw)
    drawn_lines, laid_lines = ([bare(line) for line in each.splitlines()] for each in (raw, layout))
    seen = 1
    for table in tables(path):
        # A column of drawings has no words to come out.
        drawings = {n for n in range(max(map(len, table))) if not any(bare("".join(row[n:n + 1])) for row in table[1:])}
        filled = all(bare(cell) for row in table[1:] for n, cell in enumerate(row) if n not in drawings)
        joined = [bare("".join(row)) for row in table]
        on_one_line = [any(words in line for line in drawn_lines) for words in joined]
        # In a wide table of numbers, cells of other widths stand in no square either.
        even = filled and all(on_one_line) and max(map(len, table)) <= 4
        for row, words, one_line in zip(table, joined, on_one_line):
            name = " | ".join(row)
            seen += 3
            if words not in drawn:
                wrong.append(f"a row does not come out whole as drawn: {name}")
            if one_line and not any(words in line for line in laid_lines):
                wrong.append(f"a row does not come out on one line as laid out: {name}")
            if even and words not in default:
                wrong.append(f"a row does not come out whole: {name}")
            if one_line and not even and not all(bare(cell) in default for cell in row):
                wrong.append(f"a cell does not come out: {name}")
    return wrong, seen


def look(path):
    """What is wrong with a file, and how many things were looked at."""
    wrong, seen = [], 0
    pdf = pikepdf.open(path)
    root = pdf.Root.StructTreeRoot
    owners = {}
    tree(root.K, owners)
    numbers = root.ParentTree.Nums
    parents = {int(numbers[n]): numbers[n + 1] for n in range(0, len(numbers), 2)}
    fonts = {}
    for number, page in enumerate(pdf.pages, 1):
        drawn, open_tags, font = [], [], None
        for operands, operator in pikepdf.parse_content_stream(page):
            operator = str(operator)
            if operator in ("BDC", "BMC"):
                properties = operands[1] if len(operands) > 1 else {}
                mcid = properties.get("/MCID")
                open_tags.append((str(operands[0]), mcid))
                if mcid is not None:
                    drawn.append(int(mcid))
            elif operator == "EMC":
                open_tags.pop()
            elif operator == "Tf":
                name = str(operands[0])
                font = fonts.setdefault(page.obj.Resources.Font[name].objgen, [page.obj.Resources.Font[name], set()])
            elif operator in PAINT:
                seen += 1
                if not any(tag == "/Artifact" or mcid is not None for tag, mcid in open_tags):
                    wrong.append(f"page {number}: {operator} is neither tagged nor an artifact")
            if operator in ("Tj", "TJ"):
                parts = operands[0] if operator == "TJ" else operands
                for part in parts:
                    if isinstance(part, pikepdf.String):
                        data = bytes(part)
                        font[1].update(data[n] << 8 | data[n + 1] for n in range(0, len(data), 2))
        entries = parents[int(page.obj.StructParents)]
        if sorted(drawn) != list(range(len(entries))):
            wrong.append(f"page {number}: {len(drawn)} numbers drawn, {len(entries)} in the parent tree")
        for mcid in drawn:
            seen += 1
            if owners.get((page.obj.objgen, mcid)) != entries[mcid].objgen:
                wrong.append(f"page {number}: content {mcid} has two parents, or none")
    for font, codes in fonts.values():
        descendant = font.DescendantFonts[0]
        said, real, texts = widths(descendant), program_widths(descendant.FontDescriptor), unicode_map(font)
        for code in sorted(codes):
            seen += 2
            if abs(said.get(code, float(descendant.get("/DW", 1000))) - real.get(code, -1e6)) > 1:
                wrong.append(f"{font.BaseFont}: glyph {code} is {said.get(code)} wide in the file, {real.get(code)} in the program")
            if not texts.get(code):
                wrong.append(f"{font.BaseFont}: glyph {code} has no text")
    return wrong, seen


def main(paths):
    """Every file; the exit code says whether all is well."""
    total, bad = 0, False
    for path in paths:
        wrong, seen = look(path)
        more, counted = words_come_out(path)
        wrong += more
        total += seen + counted
        for each in wrong[:20]:
            bad = True
            print(f"{path}: {each}")
    print(f"looked at {total} things in {len(paths)} files")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
