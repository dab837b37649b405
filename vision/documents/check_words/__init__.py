"""Words of a check: a sentence for every code that it may carry, made once, at the exit.

In: `Reason`s of an inspection and the `LengthWords` of its job. Out: sentences.

- `words`: `say_check`, which makes the sentence of any reason; start here
- `saying`: how a code finds its words, and what the files of words are written in
- `cameras`, `pictures`, `laid`, `seams`, `stated` (.toml): what was judged; `judged` for all
- `naming`, `marks`: why a picture or a mark was not named; `no_fit`: why nothing was fitted
- `missing`: why a figure is null; `texture`: why the ground tells no shift
- `reliability`: how each stated thing stands
"""
