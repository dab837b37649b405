"""Lengths and words for them, tables of a file, plain data, errors, names for arrays.

In: text a person typed, figures. Out: metres, words, checked values, rounded plain data.

- `lengths`, `sums`: text to an exact length, a sum and the slip that explains a wrong total
- `length_words`: a length and its sigma in words for the tape in the hand
- `toml_text`: TOML to plain values; `toml_slips`: what made it none; `toml_places`: lines of keys
- `tables`: one table of it to checked values, every fault noted, with `cures` for usual slips
- `plain`: figures rounded for a file, and the schemas that ship
- `reason`: why something is as it is, as code and figures
- `errors`: `Fault` and `BadInputError`; `arrays`: names for arrays, `frozen_array`
"""
