#!/usr/bin/env python3
"""A field calculator that knows a rate table by its CSV alone.

Written from the lookup rule in the table's header, with nothing but Python's standard library, so that it shares no line with the
program that made the table. It answers every conformance vector and fails where one comes out otherwise.

    reader.py TABLE.csv TABLE.vectors.csv        check every vector
    reader.py FOLDER                             check every table of a season's folder
"""

import csv
import sys
from pathlib import Path

LIMIT_OF_DIGITS = 6


def millionths(text):
    """Decimal text in whole millionths, or None where it is none (rule 1)."""
    text = text.strip(" \t")
    sign = -1 if text.startswith("-") else 1
    if text[:1] in ("-", "+"):
        text = text[1:]
    whole, point, decimals = text.partition(".")
    digits = whole + decimals
    if not digits or any(digit not in "0123456789" for digit in digits):
        return None
    whole = whole.lstrip("0")
    if len(whole) > LIMIT_OF_DIGITS:
        return None
    seven = (decimals + "0" * 7)[:7]
    size = (int((whole or "0") + seven) + 5) // 10
    return sign * size if size < 10**12 else None


class Table:
    """The header and the rows of a table's CSV."""

    def __init__(self, path):
        lines = Path(path).read_text(encoding="utf-8").split("\n")
        about = [line[1:].strip().partition(": ") for line in lines if line.startswith("#")]
        header = {key: value for key, _, value in about}
        self.above = millionths(header["usable.above"])
        self.up_to = millionths(header["usable.up_to"])
        self.index_up_to = int(header["usable.index_up_to"])
        self.nearest_row = header["settings.outside"] == "nearest-row"
        self.rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))

    def price(self, asked):
        """The listed price ratio that is meant, as its text (rule 4)."""
        for row in self.rows:
            listed = float(row["price_ratio"])
            if row["base_price_ratio"] == "yes" if asked == "" else abs(float(asked) - listed) <= listed / 1000:
                return row["price_ratio"]
        return None

    def look_up(self, reading, reference, price_ratio):
        """Index, rate, status and whether the nearest row was used, as text."""
        reading, reference = millionths(reading), millionths(reference)
        if any(value is None or not self.above < value <= self.up_to for value in (reading, reference)):
            return "", "", "unusable", "no"
        index = (2000 * reading + reference) // (2 * reference)
        shown = f"{index // 1000}.{index % 1000:03}"
        price = self.price(price_ratio)
        if index > self.index_up_to or price is None:
            return shown, "", "unusable", "no"
        rows = [row for row in self.rows if row["price_ratio"] == price and row["rate"] != ""]
        for row in rows:
            begins, ends = (int(row[edge].replace(".", "")) for edge in ("index_from", "index_below"))
            if begins <= index and (index < ends or (row["index_below_included"] == "yes" and index == ends)):
                return shown, row["rate"], "in-domain", "no"
        below = index < int(rows[0]["index_from"].replace(".", ""))
        status = "below-domain" if below else "above-domain"
        if self.nearest_row:
            return shown, rows[0 if below else -1]["rate"], status, "yes"
        return shown, "", status, "no"


def check(table_path, vectors_path):
    """The number of vectors, and what is wrong with those that come out otherwise."""
    table = Table(table_path)
    with open(vectors_path, encoding="utf-8", newline="") as lines:
        vectors = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    wrong = []
    for vector in vectors:
        found = table.look_up(vector["reading"], vector["reference"], vector["price_ratio"])
        expected = tuple(vector[name] for name in ("index", "rate", "status", "nearest_row_used"))
        if found != expected:
            wrong.append(f"{vector['case']}: {vector['reading']!r} / {vector['reference']!r}: {found} instead of {expected}")
    return len(vectors), wrong


def main(arguments):
    if len(arguments) == 1:
        tables = sorted(Path(arguments[0]).glob("**/*.vectors.csv"))
        pairs = [(vectors.with_name(vectors.name.replace(".vectors.csv", ".csv")), vectors) for vectors in tables]
    elif len(arguments) == 2:
        pairs = [tuple(arguments)]
    else:
        print(__doc__, file=sys.stderr)
        return 2
    if not pairs:
        print("no table with vectors", file=sys.stderr)
        return 1
    failed = False
    for table, vectors in pairs:
        count, wrong = check(table, vectors)
        print(f"{table}: {count - len(wrong)} of {count} vectors")
        for line in wrong:
            print(f"  {line}")
        failed = failed or bool(wrong) or count == 0
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
