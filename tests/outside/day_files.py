"""Writes a day as its three files, in every way that a booking system or a spreadsheet is known to.

Encodings, delimiters, line ends, column orders, renamed headers, date forms and quoting vary with the
seed of the day; the meaning never does. The physical line of every row is noted in `day.lines`.
"""

import json
import random
import unicodedata
from dataclasses import dataclass
from pathlib import Path

from days import clock

NEEDED = ("arrive", "bay", "chair", "hospital_no", "family_name", "given_name", "born", "regimen", "cycle", "cooled")
OPTIONAL = (
    "nhs_no", "hair", "cap", "own_cap", "drugs_ready", "leave_by", "language", "large_print", "alert",
    "next_visit", "go_ahead", "isolate",
)
HEADERS = {
    "arrive": "Appt time", "family_name": "Surname", "given_name": "Forename(s)", "born": "Date of birth",
    "hospital_no": "MRN", "chair": "Chair no.", "nhs_no": "NHS Number", "drugs_ready": "Pharmacy, ready at",
}
UNKNOWN = {"Booking ref": "R-1", "Consultant; team": "Team 2, Thursday", "Notes": ""}
# As the unit's file names them, and as Python does.
DATE_FORMS = {"DD/MM/YYYY": "%d/%m/%Y", "MM/DD/YYYY": "%m/%d/%Y", "DD.MM.YYYY": "%d.%m.%Y"}
# The byte order mark and the codec of each.
ENCODINGS = {
    "utf-8": (b"", "utf-8"), "utf-8 BOM": (b"\xef\xbb\xbf", "utf-8"), "utf-16-le BOM": (b"\xff\xfe", "utf-16-le"),
    "utf-16-be BOM": (b"\xfe\xff", "utf-16-be"), "windows-1252": (b"", "cp1252"),
}


@dataclass
class DayFiles:
    """The files of a day in a folder, and how the program is to be called with them."""

    list: Path
    unit: Path
    regimens: Path
    date: str | None
    form: "Form"

    def arguments(self):
        """The day list and the options that it needs."""
        date = ["--date", self.date] if self.date else []
        return [self.list, "--unit", self.unit, "--regimens", self.regimens, *date]

    @classmethod
    def write(cls, day, folder):
        """Writes the three files of a day into an existing folder."""
        rng = random.Random(f"files {day.seed}")
        form = Form.random(rng, day)
        unit = dict(day.unit)
        if form.mapping():
            unit["day_list"] = form.mapping()
        files = cls(
            folder / "day-list.csv", folder / "unit.toml", folder / "regimens.toml",
            day.date.isoformat() if form.needs_date else None, form,
        )
        files.unit.write_text(toml_document(unit), encoding="utf-8")
        files.regimens.write_text(toml_document({"regimens": day.regimens}), encoding="utf-8")
        files.list.write_bytes(form.day_list(rng, day))
        return files


@dataclass
class Form:
    """One way of writing a day list."""

    columns: list
    headers: dict
    dates: str | None
    encoding: str
    delimiter: str
    line_end: str
    quote_all: bool
    short_hours: bool
    spaced_nhs: bool
    needs_date: bool
    trailing: int

    @classmethod
    def random(cls, rng, day):
        """A way of writing that can hold this day; columns that it lacks are blanked in the day."""
        missing = [name for name in OPTIONAL if rng.random() < 0.1]
        for row in day.rows:
            for name in missing:
                setattr(row, name, None)
        several = any(row.date != day.date for row in day.rows)
        with_date = several or rng.random() < 0.8
        columns = [*NEEDED, *(name for name in OPTIONAL if name not in missing), *(["date"] if with_date else [])]
        columns += [name for name in UNKNOWN if rng.random() < 0.15]
        if rng.random() < 0.6:
            rng.shuffle(columns)
        encodings = [name for name in ENCODINGS if day.western or name != "windows-1252"]
        return cls(
            columns=columns,
            headers={name: HEADERS[name] for name in HEADERS if name in columns and rng.random() < 0.15},
            dates=rng.choice((None, None, None, *DATE_FORMS)),
            encoding=rng.choice(encodings),
            delimiter=rng.choice((",", ";", "\t")),
            line_end=rng.choice(("\n", "\r\n")),
            quote_all=rng.random() < 0.2,
            short_hours=rng.random() < 0.2,
            spaced_nhs=rng.random() < 0.5,
            needs_date=several or not with_date or rng.random() < 0.1,
            trailing=rng.choice((0, 0, 1, 3)),
        )

    def mapping(self):
        """The table `day_list` of the unit file that explains this way of writing."""
        columns = {"columns": self.headers} if self.headers else {}
        return columns | ({"dates": self.dates} if self.dates else {})

    def day_list(self, rng, day):
        """The bytes of the day list; notes in `day.lines` where each row starts."""
        text = self.record([self.headers.get(name, name) for name in self.columns])
        day.lines.clear()
        for number, row in enumerate(day.rows):
            day.lines[number] = text.count("\n") + 1
            text += self.record([self.cell(row, name) for name in self.columns])
        if rng.random() < 0.2:
            text = text[: -len(self.line_end)]
        else:
            text += self.trailing * self.line_end
        mark, codec = ENCODINGS[self.encoding]
        return mark + text.encode(codec)

    def record(self, cells):
        """A record with its line end."""
        return self.delimiter.join(map(self.quoted, cells)) + self.line_end

    def quoted(self, cell):
        """A cell, between quotes where it has to be."""
        must = any(character in cell for character in (self.delimiter, '"', "\n", "\r"))
        return '"' + cell.replace('"', '""') + '"' if must or self.quote_all else cell

    def cell(self, row, name):
        """What stands in a column of a row."""
        if name in UNKNOWN:
            return UNKNOWN[name]
        value = getattr(row, name)
        if value is None:
            return ""
        if name == "next_visit":
            day, time = value
            return self.date(day) + (f" {clock(time)}" if time is not None else "")
        if name in ("date", "born"):
            return self.date(value)
        if name in ("arrive", "drugs_ready", "leave_by"):
            return clock(value).removeprefix("0") if self.short_hours else clock(value)
        if name == "nhs_no" and self.spaced_nhs:
            return f"{value[:3]} {value[3:6]} {value[6:]}"
        return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)

    def date(self, day):
        """A date in the list's form."""
        return day.strftime(DATE_FORMS[self.dates]) if self.dates else day.isoformat()


def line_of(day, visit):
    """The physical line on which a visit's record starts."""
    return next(day.lines[number] for number, row in enumerate(day.rows) if row is visit)


def composed(text):
    """Text as the program prints it: composed characters."""
    return unicodedata.normalize("NFC", text)


def toml_document(document):
    """A TOML document: plain keys first, then tables, then arrays of tables."""
    plain = {key: value for key, value in document.items() if not is_section(value)}
    lines = [f"{toml_key(key)} = {toml_value(value)}" for key, value in plain.items()]
    for name, value in document.items():
        if isinstance(value, dict):
            lines += ["", f"[{toml_key(name)}]", *table_lines(value)]
        elif is_section(value):
            for entry in value:
                lines += ["", f"[[{toml_key(name)}]]", *table_lines(entry)]
    return "\n".join(lines) + "\n"


def is_section(value):
    """Whether a value gets a heading of its own."""
    return isinstance(value, dict) or (isinstance(value, list) and bool(value) and isinstance(value[0], dict))


def table_lines(table):
    return [f"{toml_key(key)} = {toml_value(value)}" for key, value in table.items()]


def toml_value(value):
    """A value on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{toml_key(key)} = {toml_value(item)}" for key, item in value.items()) + " }"
    return str(value)


def toml_key(key):
    """A bare key where TOML allows one."""
    bare = key.isascii() and key.replace("_", "").replace("-", "").isalnum()
    return key if bare else json.dumps(key, ensure_ascii=False)
