"""Every other way in which handed-in data can be wrong: at the gate, on reading, in one cell,
and across tables.

Rules across the columns of one row stand beside their columns in `schemas.delivery`. The sentences
are for a coordinator with a spreadsheet; they never quote a cell.

The gate looks for what the safe-harbor method of 45 CFR 164.514(b)(2)(i) removes, as far as a
program can recognise it.
"""

from schemas.columns import RULES, Rule, register

__all__ = [
    "CATALOGUE",
    "GATE_RULES",
    "PLAUSIBILITY_RULES",
    "RULES",
]  # whoever looks a rule up here has all of them at hand

WORKBOOK_FIX = (
    "Save the file again from your spreadsheet program as .xlsx, or hand in the five tables as "
    ".csv (UTF-8)."
)
CLEAR_FIX = (
    "Remove it from the place named here, also from hidden columns, and hand in the whole delivery "
    "again."
)

GATE = [  # the de-identification gate: the value itself is never repeated
    Rule(
        "identifier_column",
        "refuse",
        "The name of this column says that it holds an identifier.",
        "Delete the whole column and hand in the delivery again.",
    ),
    Rule(
        "calendar_date",
        "refuse",
        "This looks like a calendar date.",
        "Give days counted from day 0 instead. If something else was typed, such as 3-4 or 1/2, "
        "your "
        "spreadsheet program made a date of it: set the format of the cells to text, type it "
        "again, then hand in the delivery again.",
    ),
    Rule("telephone_number", "refuse", "This looks like a telephone number.", CLEAR_FIX),
    Rule("email_address", "refuse", "This looks like an e-mail address.", CLEAR_FIX),
    Rule("web_address", "refuse", "This looks like a web address.", CLEAR_FIX),
    Rule("ip_address", "refuse", "This looks like an internet (IP) address.", CLEAR_FIX),
    Rule(
        "pseudonyms_differ",
        "refuse",
        "The letters of these codes differ from row to row, as names and initials do, so that they "
        "are no pseudonyms.",
        "Give each patient and each episode a code that says nothing: the same letters in all "
        "rows and a running number, such as EP-0042; ./run pseudonymise makes such codes from "
        "your own "
        "table. Codes that a program drew at random pass once the coordinating team has entered "
        "their "
        "shape in your list (config/sites).",
    ),
    Rule(
        "long_number",
        "refuse",
        "This is a long number, as record and insurance numbers are.",
        CLEAR_FIX,
    ),
    Rule("postcode", "refuse", "This looks like a postcode.", CLEAR_FIX),
    Rule(
        "age_above_89",
        "refuse",
        "An age above 89 is given as a number.",
        "Enter 90+ for every age of 90 or more.",
    ),
    Rule(
        "free_text",
        "refuse",
        "This is free text, which can name a person.",
        "Use only the codes of the data dictionary; delete remarks and comments.",
    ),
    Rule(
        "embedded_object",
        "refuse",
        "The workbook holds something besides the cells that are read, such as a picture, a "
        "chart, a "
        "pivot table, a link to another file or bytes of no use: it cannot be searched for "
        "identifiers.",
        "Copy the five tables into a new workbook as values only, and hand that in.",
    ),
    Rule(
        "stray_file",
        "refuse",
        "This file is no part of a delivery, and it could hold identifiers.",
        "Take it out of the folder; hand in one workbook (.xlsx) or the five .csv files, and "
        "nothing else.",
    ),
]
GATE_RULES = frozenset(rule.name for rule in GATE)

CATALOGUE = [
    *GATE,
    # the delivery as a whole
    Rule("unreadable", "refuse", "The file cannot be read.", WORKBOOK_FIX),
    Rule(
        "other_form",
        "refuse",
        "The file is a spreadsheet in a form that is not read here.",
        "Open it in your spreadsheet program, save it as .xlsx, and hand in that file instead.",
    ),
    Rule(
        "stands_for_another",
        "refuse",
        "This is no file or folder of its own, but stands for something that lies elsewhere, which "
        "could be the records of another site; it was not opened.",
        "Put a copy of the file or folder itself in its place, and hand in the delivery again.",
    ),
    Rule(
        "not_opened",
        "refuse",
        "The file is not opened, because it could bring the computer to a halt.",
        "Copy the five tables into a new workbook as values only, or hand in the five tables as "
        ".csv (UTF-8).",
    ),
    Rule(
        "withdrawals_unclear",
        "refuse",
        "The list of patients who withdrew their consent cannot be understood, so that nobody can "
        "be sure that they are left out.",
        "Give withdrawn.csv one column, patient_id, with one pseudonym a line, saved as UTF-8.",
    ),
    Rule(
        "no_tables",
        "refuse",
        "The delivery is neither exactly one workbook (.xlsx) nor the five tables as .csv files.",
        "Hand in one workbook with five sheets, or five .csv files named as the tables.",
    ),
    Rule(
        "table_missing",
        "refuse",
        "This table is missing.",
        "Add a sheet (or a .csv file) of this name, with the header row even if it has no rows.",
    ),
    Rule(
        "table_twice",
        "refuse",
        "This table is handed in more than once.",
        "Keep one sheet (or one .csv file) of this name.",
    ),
    Rule(
        "formula_without_result",
        "refuse",
        "This cell holds a formula whose result was not saved with the file, so that it reads as "
        "empty.",
        "Open the workbook in a spreadsheet program, replace formulas by their values, and save it "
        "again.",
    ),
    Rule(
        "column_missing",
        "refuse",
        "The column {column} ({meaning}) is missing.",
        "Add the column; the whole delivery is needed again.",
    ),
    Rule(
        "column_misspelt",
        "refuse",
        "The column {column} is not known, and one that must be there is missing.",
        "If the one is meant for the other, correct its name; otherwise add the column that is "
        "missing. The whole delivery is needed again.",
    ),
    Rule(
        "column_twice",
        "refuse",
        "The column {column} stands in the header more than once.",
        "Keep one of them.",
    ),
    Rule(
        "submission_incomplete",
        "refuse",
        "The submission table does not describe this delivery: {column} is missing or not as the "
        "dictionary says.",
        "Enter beside {column} ({meaning}): {allowed}.",
    ),
    Rule(
        "wrong_site",
        "refuse",
        "site_code is not the site of the folder in which the delivery was handed in.",
        "Correct site_code, or hand the delivery in for the right site.",
    ),
    Rule(
        "wrong_delivery_number",
        "refuse",
        "The delivery number inside is not the number of its folder.",
        "Make both numbers the same; a corrected delivery takes the next free number.",
    ),
    Rule(
        "future_dictionary",
        "refuse",
        "The delivery follows a newer data dictionary than this program knows.",
        "Ask the coordinating team for the current program, or follow the older dictionary.",
    ),
    Rule(
        "not_deidentified",
        "refuse",
        "The site does not confirm that the delivery is de-identified.",
        "De-identify the records, then enter yes for deidentified.",
    ),
    # reading
    Rule(
        "column_unknown",
        "warn",
        "This column is not in the data dictionary; it is not stored.",
        "Delete it, or correct its name if it is misspelt.",
    ),
    Rule(
        "column_absent",
        "warn",
        "The optional column {column} ({meaning}) is missing; its cells count as not recorded.",
        "Add the column if the site records it.",
    ),
    Rule(
        "table_unknown",
        "warn",
        "This table is not in the data dictionary; it is not stored.",
        "Delete it, or correct its name if it is misspelt.",
    ),
    Rule(
        "own_words",
        "warn",
        "Some entries of {column} are words of your own.",
        "Do they mean what stands here? Then enter the codes, or ask the coordinating team to add "
        "these lines to your list (config/sites); until then their rows are set aside.",
    ),
    Rule(
        "read_with_help",
        "warn",
        "The file was read, but not as the dictionary describes it.",
        "Nothing needs to be done; the next delivery may follow it more closely.",
    ),
    Rule(
        "too_many_cells",
        "set_aside",
        "The row has more cells than the header has columns.",
        "Look for a stray separator in this row, and for a column without a name, as merged cells "
        "in the header leave it.",
    ),
    # what is no record or no entry
    Rule(
        "summary_row",
        "set_aside",
        "This row holds totals or averages, not a record.",
        "Delete the row.",
    ),
    Rule(
        "units_row",
        "set_aside",
        "This row holds units, not a record.",
        "Delete the row: the dictionary says the unit.",
    ),
    Rule(
        "repeated_header",
        "set_aside",
        "This row repeats the names of the columns.",
        "Delete the row.",
    ),
    Rule(
        "note_row",
        "set_aside",
        "This row holds a note, not a record.",
        "Delete the row: nothing but records belongs below the header.",
    ),
    Rule(
        "word_for_nothing",
        "set_aside",
        "NA, a dash or the like stands where a cell is left empty if nothing was recorded.",
        "Empty these cells; find and replace does it for a whole table. If it was asked and not "
        "known, enter unknown where the code list has it.",
    ),
    # what may identify somebody: it is read no further
    Rule(
        "pseudonym_unclear",
        "set_aside",
        "{column} has another form here than in the other rows, and could be a name or a record "
        "number; it is kept nowhere.",
        "Enter the pseudonym in the form that it has elsewhere. If it is a pseudonym, the "
        "coordinating team "
        "can enter its shape in your list (config/sites).",
    ),
    Rule(
        "pseudonym_too_short",
        "set_aside",
        "The entries of {column} are bare numbers, such as 1, 2, 3: a pseudonym has 3 to 24 "
        "letters, "
        "digits or hyphens.",
        "Put the same letters and zeros before all numbers, in all five tables, such as EP-0001, "
        "EP-0002.",
    ),
    Rule(
        "number_unclear",
        "set_aside",
        "{column} ({meaning}) has more digits than it needs, or zeros before it: it could be a "
        "record number, and is kept nowhere.",
        "Correct the number, and check whether its unit is {unit}.",
    ),
    # one cell
    Rule(
        "not_a_whole_number",
        "set_aside",
        "{column} ({meaning}) must be a whole number.",
        "Enter digits only, without units or words; leave the cell empty if it was not recorded.",
    ),
    Rule(
        "not_a_number",
        "set_aside",
        "{column} ({meaning}) must be a number.",
        "Enter digits, with at most one decimal point; leave the cell empty if it was not "
        "recorded.",
    ),
    Rule(
        "not_filled",
        "set_aside",
        "{column} ({meaning}) must not be empty.",
        "Fill it in; where the code list has unknown, enter unknown if it was asked and not known.",
    ),
    Rule(
        "not_in_list",
        "set_aside",
        "{column} ({meaning}) must be {allowed}.",
        "Choose one of the listed codes.",
    ),
    Rule("wrong_form", "set_aside", "{column} ({meaning}) must be {allowed}.", "Correct the cell."),
    Rule(
        "too_small",
        "set_aside",
        "{column} ({meaning}) must be at least {least}.",
        "Correct the number, and check whether its unit is {unit}.",
    ),
    Rule(
        "too_large",
        "set_aside",
        "{column} ({meaning}) must be at most {most}.",
        "Correct the number, and check whether its unit is {unit}.",
    ),
    # across rows and tables
    Rule(
        "same_key_twice",
        "set_aside",
        "Another row has the same {column}; it cannot be told which of them is right.",
        "Keep one row for each {column}.",
    ),
    Rule(
        "episode_not_found",
        "set_aside",
        "No row of the episodes table has this episode_id.",
        "Add the episode, or correct the episode_id.",
    ),
    Rule(
        "episode_set_aside",
        "set_aside",
        "The episode of this row is set aside, so this row goes with it.",
        "Mend the row of the episodes table; this row will then be stored.",
    ),
    Rule(
        "attempts_have_a_gap",
        "set_aside",
        "The attempts of this episode are not numbered 1, 2, 3 without gaps up to this row.",
        "Number the attempts of the episode from 1 in the order in which they were given.",
    ),
    Rule(
        "attempts_out_of_order",
        "set_aside",
        "This attempt lies on an earlier day than an attempt before it.",
        "Number the attempts in the order in which they were given, or correct the day.",
    ),
    Rule(
        "maneuver_unknown",
        "set_aside",
        "{column} is not in the list of maneuvers.",
        "Choose a code of the maneuver list; a maneuver that is not listed is entered as other.",
    ),
    Rule(
        "maneuver_side",
        "set_aside",
        "This maneuver is done for one ear, but side names none, or both.",
        "Enter right or left; if both ears were treated, enter one attempt for each.",
    ),
    Rule(
        "patient_differs",
        "warn",
        "Episodes of the same patient_id differ in sex.",
        "Check whether two patients share one patient_id.",
    ),
    Rule(
        "reasons_differ",
        "warn",
        "Rows of one episode and day give different reasons for being examined; that day counts as "
        "one without a reason.",
        "Enter one reason for each day. If the patient was examined twice on one day, enter the "
        "reason of the first time.",
    ),
    Rule(
        "year_outside_submission",
        "warn",
        "index_year lies outside first_year to last_year of the submission table.",
        "Correct the year, or the years of the submission table.",
    ),
    Rule(
        "total_differs",
        "warn",
        "{column} ({meaning}) is not the number that the handed-in rows show.",
        "Which of the two is right? Check whether patients were counted as episodes, or rows were "
        "left out; then correct {column} or hand in the missing rows.",
    ),
]

# of a delivery as a whole: rows that are in order one by one, and together cannot be meant so
PLAUSIBILITY = [
    Rule(
        "table_without_rows",
        "warn",
        "This table has a header and no row.",
        "Check whether its rows were lost on copying; every delivery holds all records.",
    ),
    Rule(
        "contact_before_record",
        "warn",
        "Contacts lie long before the first test or maneuver of their episode, or before day 0.",
        "Days after the first maneuver are positive: check the sign, and the day they were "
        "counted from.",
    ),
    Rule(
        "order_untold",
        "warn",
        "Tests were repeated on the day of the first maneuver, and after_attempt is empty there: "
        "whether they came before the maneuver or after it is not known, so they cannot show that "
        "it worked.",
        "Enter 0 in after_attempt for a test before the first maneuver, and otherwise the number "
        "of the last attempt before it.",
    ),
    Rule(
        "unit_unlikely",
        "warn",
        "{column} is asked for in {unit}, and its numbers hardly fit that: minutes or "
        "milliseconds may "
        "have been entered.",
        "Find out in which unit it was measured, and enter {unit}.",
    ),
    Rule(
        "latency_above_duration",
        "warn",
        "The nystagmus begins later than it lasts in most rows.",
        "Check whether latency_s and duration_s are exchanged.",
    ),
    Rule(
        "zero_for_empty",
        "warn",
        "0 stands in {column} where it can hardly have been measured.",
        "Leave the cell empty where nothing was recorded.",
    ),
    Rule(
        "code_for_missing",
        "warn",
        "A number of nines, such as 99 or 9999, repeats in {column} and stands far from all "
        "others: it "
        "looks like a code for not recorded.",
        "Leave the cell empty where nothing was recorded.",
    ),
    Rule(
        "sides_opposite",
        "warn",
        "{column} is opposite to the side that it goes with in most cases: up-beating nystagmus "
        "shows on the side of the treated ear, and torsion beats toward the ear that is down.",
        "Check whether right and left are exchanged, or the column slipped by a row.",
    ),
    Rule(
        "ages_differ",
        "warn",
        "Ages of the same patient_id do not go with the years of the episodes.",
        "Check whether two patients share one patient_id, or an age is wrong.",
    ),
    Rule(
        "episodes_overlap",
        "warn",
        "An episode was still treated when the next one of the same patient had begun, or began "
        "before an earlier one.",
        "Check the days and years of these patients' episodes, and whether two patients share "
        "one patient_id.",
    ),
    Rule(
        "episodes_alike",
        "warn",
        "Episodes agree with another one in every day and time of their tests.",
        "Check whether rows were copied to a new episode_id.",
    ),
    Rule(
        "sorted_alone",
        "warn",
        "{column} seems to have been sorted by itself, so that its cells stand in rows of other "
        "patients.",
        "Take the table from your records again, and sort whole tables only.",
    ),
    Rule(
        "filled_down",
        "warn",
        "{column} holds the same value, or counts up by one, in a long row of neighbours: it may "
        "have been filled down.",
        "Take the column from your records again.",
    ),
    Rule(
        "earlier_left_out",
        "warn",
        "This delivery lacks much of what the one before held.",
        "Every delivery holds all records, also those of earlier ones. Check whether only new ones "
        "were handed in.",
    ),
    Rule(
        "earlier_changed",
        "warn",
        "{column} differs from the delivery before in many episodes.",
        "Check whether the column was exchanged, sorted or shifted, or the pseudonyms were given "
        "anew.",
    ),
]
PLAUSIBILITY_RULES = frozenset(rule.name for rule in PLAUSIBILITY)

for _rule in (*CATALOGUE, *PLAUSIBILITY):
    register(_rule)
