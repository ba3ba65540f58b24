"""Places in .csv files, in the names of files, and in the folder of a delivery."""

from tests.corpus.delivery import Delivery
from tests.corpus.planted import SHORT, TEXT, Planted, as_text, place, short

NAME = short(60, '/\\:*?"<>|\0')
PLAIN = short(200, ',;"')


@place("lines of a .csv", TEXT, as_text)
def csv_line_after_end(delivery: Delivery, planted: Planted):
    delivery.edit_text("episodes", lambda text: text + planted.text + "\n")


@place("lines of a .csv", TEXT, as_text)
def csv_line_after_blanks(delivery: Delivery, planted: Planted):
    delivery.edit_text("treatments", lambda text: text + "\n\n\n," + planted.text)


@place("lines of a .csv", TEXT, as_text)
def csv_line_of_hashes(delivery: Delivery, planted: Planted):
    delivery.edit_text("examinations", lambda text: f"# {planted.text}\n" + text)


@place("lines of a .csv", TEXT, PLAIN)
def csv_behind_last_separator(delivery: Delivery, planted: Planted):
    def change(text: str) -> str:
        lines = text.split("\n")
        lines[3] += f",,{planted.text}"
        return "\n".join(lines)

    delivery.edit_text("followups", change)


@place("lines of a .csv", TEXT, PLAIN)
def csv_other_separator(delivery: Delivery, planted: Planted):
    def change(text: str) -> str:
        lines = text.split("\n")
        lines[2] += f";{planted.text}"
        return "\n".join(lines)

    delivery.edit_text("followups", change)


@place("lines of a .csv", TEXT, as_text)
def csv_second_table(delivery: Delivery, planted: Planted):
    delivery.edit_text("submission", lambda text: text + f'\nkey,value\nlist,"{planted.text}"\n')


@place("bytes of a .csv", TEXT, as_text)
def csv_after_zero_byte(delivery: Delivery, planted: Planted):
    delivery.edit_text("episodes", lambda text: text + "\0" + planted.text)


@place("bytes of a .csv", TEXT, as_text)
def csv_after_end_mark(delivery: Delivery, planted: Planted):
    delivery.edit_text("followups", lambda text: text + "\x1a" + planted.text)


@place("bytes of a .csv", TEXT, as_text)
def csv_between_marks(delivery: Delivery, planted: Planted):
    delivery.edit_text("episodes", lambda text: f"\ufeff{planted.text}\ufeff\n" + text)


@place("bytes of a .csv", TEXT, as_text)
def csv_in_two_bytes(delivery: Delivery, planted: Planted):
    delivery.encoding = "utf-16"
    delivery.edit_text("episodes", lambda text: text + planted.text + "\n")


@place("bytes of a .csv", {"name", "address", "remark"}, short(200))
def csv_other_encoding(delivery: Delivery, planted: Planted):
    content = planted.text.encode("cp1252", "replace").decode("utf-8", "surrogateescape")
    delivery.edit_text("episodes", lambda text: text + content + "\n")


@place("bytes of a .csv", TEXT, as_text)
def csv_quote_left_open(delivery: Delivery, planted: Planted):
    delivery.edit_text("followups", lambda text: text + f'"{planted.text}\n')


@place("bytes of a .csv", SHORT, short(60))
def csv_carriage_return_hides(delivery: Delivery, planted: Planted):
    delivery.edit_text(
        "treatments", lambda text: text.replace("epley", f"{planted.text}\repley", 1)
    )


@place("name of a file", SHORT, NAME)
def workbook_file_name(delivery: Delivery, planted: Planted):
    delivery.form, delivery.file_name = "xlsx", f"S_001_{planted.text}.xlsx"


@place("name of a file", {"name", "number", "date"}, NAME)
def csv_file_name(delivery: Delivery, planted: Planted):
    delivery.form, delivery.table_names = "csv", {"episodes": f"episodes {planted.text}"}


@place("name of a file", SHORT, NAME)
def stray_file_name(delivery: Delivery, planted: Planted):
    delivery.files[f"{planted.text}.txt"] = b"see list"


@place("name of a file", {"name", "number", "date"}, NAME)
def folder_inside(delivery: Delivery, planted: Planted):
    delivery.files[f"{planted.text}/old.txt"] = b"see list"


@place("another file", TEXT)
def stray_table(delivery: Delivery, planted: Planted):
    delivery.form = "csv"
    delivery.files["key.csv"] = f"patient_id,who\nP-0001,{planted.text}\n".encode()


@place("another file", {"name", "email"})
def lock_file(delivery: Delivery, planted: Planted):
    delivery.files[".~lock.records.xlsx#"] = f",{planted.text},desk,01.03.2025 09:00,file;".encode()


@place("list of withdrawals", SHORT, as_text)
def withdrawal_second_column(delivery: Delivery, planted: Planted):
    delivery.files["../withdrawn.csv"] = f'patient_id,who\nP-0003,"{planted.text}"\n'.encode()


@place("list of withdrawals", SHORT, as_text)
def withdrawal_header(delivery: Delivery, planted: Planted):
    delivery.files["../withdrawn.csv"] = f'"patient_id {planted.text}"\nP-0003\n'.encode()


@place("list of withdrawals", {"name", "remark"}, as_text)
def withdrawal_title(delivery: Delivery, planted: Planted):
    delivery.files["../withdrawn.csv"] = f'"{planted.text}"\npatient_id\nP-0003\n'.encode()
