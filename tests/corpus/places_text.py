"""Places inside a cell that holds something else too, and values that are broken up so that they
are hard to see."""

from tests.corpus.places_cells import extra
from tests.corpus.planted import Planted, place, short


@place("value among codes", {"number", "name", "date"}, fits=short(24))
def code_with_value_behind(delivery, planted):
    delivery.tables.put("episodes", 4, "recorded_canal", f"posterior {planted.text}")


@place("value among codes", {"number", "name", "date", "telephone"}, fits=short(24))
def code_with_value_in_brackets(delivery, planted):
    delivery.tables.put("treatments", 3, "maneuver", f"epley ({planted.text})")


@place("value among codes", {"name", "number"}, fits=short(24))
def pseudonym_with_value(delivery, planted):
    old = delivery.tables.get("episodes", 4, "patient_id")
    delivery.tables.put("episodes", 4, "patient_id", f"{old} {planted.text}")


@place("value among codes", {"name", "date", "number"}, fits=short(24))
def number_with_value(delivery, planted):
    delivery.tables.put("examinations", 3, "duration_s", f"12 {planted.text}")


@place("broken up", {"name", "number", "email"})
def broken_by_zero_width(delivery, planted):
    text = "\u200b".join(planted.text)
    delivery.tables.put("episodes", 5, "cause", text)


@place("broken up", {"name", "number"})
def broken_by_soft_hyphen(delivery, planted):
    extra(
        delivery,
        Planted(planted.kind, planted.text[:3] + "\u00ad" + planted.text[3:]),
        "episodes",
        "group",
        ["a", "b"],
    )


@place("broken up", {"name", "number", "telephone"})
def broken_into_letters(delivery, planted):
    extra(delivery, Planted(planted.kind, " ".join(planted.text)), "episodes", "group", ["a", "b"])


@place("broken up", {"name", "number", "email"})
def broken_by_direction_marks(delivery, planted):
    delivery.tables.put("followups", 3, "contact", "\u202e" + planted.text + "\u202c")


@place("broken up", {"number", "telephone", "date"})
def full_width_digits(delivery, planted):
    wide = planted.text.translate({48 + n: 0xFF10 + n for n in range(10)})
    extra(delivery, Planted(planted.kind, wide), "treatments", "group", ["a", "b"])


@place("broken up", {"number", "telephone", "date"})
def eastern_digits(delivery, planted):
    eastern = planted.text.translate({48 + n: 0x0660 + n for n in range(10)})
    delivery.tables.put("episodes", 6, "prior_episodes", eastern)


@place("broken up", {"name", "address", "remark", "email", "telephone"})
def line_break_in_cell(delivery, planted):
    delivery.tables.put("treatments", 4, "adverse", f"other\n{planted.text}")


@place("broken up", {"name", "number", "telephone", "email"}, fits=short(40))
def vertical_tab_in_cell(delivery, planted):
    delivery.form = "csv"
    delivery.tables.put("treatments", 4, "adverse", f"other\x0b{planted.text}")


@place("broken up", {"name", "number", "telephone", "email"}, fits=short(40))
def spread_over_cells(delivery, planted):
    half = len(planted.text) // 2
    delivery.tables.add_column("episodes", "part_a", [planted.text[:half]])
    delivery.tables.add_column("episodes", "part_b", [planted.text[half:]])
