"""Everything a person or a script reads: result file, report, pages, sheets, words.

In: values of the rooms below. Out: plain data, HTML text, PNG and PDF bytes.

- `result`, `plan_data`: plain data and the schemas beside them
- `check_words`: a sentence for every code of a check; `terms`: the terms of pages, explained
- `steps`: what is to be done and what was found, line by line
- `report`: the report of a check; `top_view`, `turned_picture`, `target_picture`: drawn for it
- `setup`: the questions of a first job, and the job that their answers make
- `sheets`: sheets for the lot and marks true to size
- `picks`, `pick_judging`, `picks_text`: where to pick each mark on a display's screen
- `summary`: many checks on one page; `fleet_page`: many vehicles
- `comparison_page`, `walk_page`, `*_words`, `job_text`: the other pages and their words
"""
