"""The report: every number in PDF, HTML and JSON is that of its table.

    python validation/report_numbers.py [CAMPAIGN]

Without CAMPAIGN one is invented. Exit code 1 where one falls short. Needs pdftotext (poppler).
"""

import csv
import html
import io
import json
import re
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path

from _measured import Table
from _reported import campaign

from stakeline.campaign.folders import open_campaign
from stakeline.campaign.store import sha256_of
from stakeline.report.document import report_html, report_pdf
from stakeline.workflows import report

OWN = "identity"
THIN = "\N{NARROW NO-BREAK SPACE}"


def in_file(data, one):
    """Return the value that a file holds at the place a number names."""
    if one["file"].endswith(".csv"):
        rows = list(csv.DictReader(io.StringIO(data.decode())))
        return float(rows[one["row"] - 1][one["column"]])
    found = tomllib.loads(data.decode()) if one["file"].endswith(".toml") else json.loads(data)
    for key in one["column"].split("."):
        found = found[int(key)] if isinstance(found, list) else found[key]
    return float(len(found) if isinstance(found, list) else found)


def rounding(one):
    """Return how far a number as shown is off, in halves of its last digit."""
    shown = one["shown"].replace(THIN, "")
    mantissa, _, power = shown.lower().partition("e")
    unit = 10.0 ** (int(power or 0) - len(mantissa.partition(".")[2]))
    return abs(float(shown) - one["value"]) / (0.5 * unit)


def squeezed(text):
    return re.sub(r"\s+", "", text)


def main():
    if shutil.which("pdftotext") is None:
        print("not installed: pdftotext (poppler)")
        sys.exit(1)
    table = Table("The report's numbers")
    with tempfile.TemporaryDirectory() as folder:
        root = campaign(folder)
        begin = time.process_time()
        document, images, numbers = report.contents(open_campaign(root))
        page, paper = report_html(document, images), report_pdf(document, images)
        seconds = time.process_time() - begin
        pdf = Path(folder) / "report.pdf"
        pdf.write_bytes(paper)
        words = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True,
                               check=True).stdout.decode()  # fmt: skip
        check(table, root, numbers, page.decode(), words)
    table.line("reading all tables, HTML and PDF", seconds, 30.0, "s", "own choice; processor time")
    table.line("figures inside the HTML", len(images), 3, "", "own rule", least=True)
    table.end()


def check(table, root, numbers, page, words):
    """Print how many numbers are not their tables', or are missing on paper or page."""
    every = numbers["numbers"]
    table.line("numbers shown", len(every), 50, "", "own rule", least=True)
    files = {one["file"]: (Path(root) / one["file"]).read_bytes() for one in every}
    table.line("numbers whose file has another checksum",
               sum(one["sha256"] != sha256_of(files[one["file"]]) for one in every), 0, "",
               OWN)  # fmt: skip
    table.line("numbers that their file does not hold at that place",
               sum(in_file(files[one["file"]], one) != one["value"] for one in every), 0, "",
               OWN)  # fmt: skip
    worst = max(map(rounding, every))
    table.line("largest rounding, in halves of the last digit", worst, 1.0 + 1e-6, "", OWN)
    cells = html.unescape(" ".join(re.findall(r"<td[^>]*>(.*?)</td>", page)))
    cells = set(re.findall(rf"-?\d[\d.{THIN}]*(?:e[-+]?\d+)?", cells))
    table.line("numbers missing in the tables of the HTML",
               sum(one["shown"] not in cells for one in every), 0, "", OWN)  # fmt: skip
    paper = squeezed(words)
    table.line("numbers missing in the PDF",
               sum(squeezed(one["shown"]) not in paper for one in every), 0, "", OWN)  # fmt: skip
    sentence = numbers["sentence"]
    table.line("verdict missing in HTML or PDF",
               (html.escape(sentence) not in page.replace("&#39;", "&#x27;"))
               + (squeezed(sentence) not in paper), 0, "", OWN)  # fmt: skip
    outward = re.findall(r"(?:src|href)=\"(?!data:|#)[^\"]*|url\((?!data:)", page)
    table.line("addresses outside of the HTML file", len(outward), 0, "", "own rule")


if __name__ == "__main__":
    main()
