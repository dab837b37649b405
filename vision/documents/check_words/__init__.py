"""Words of a check: a sentence for every code that it may carry, made once, at the exit.

In: `Reason`s of an inspection and the `LengthWords` of its job. Out: sentences.

- `words`: `say_check`, which makes the sentence of any reason; start here
- `saying`: how a code finds its words
- `cameras`, `pictures`, `laid`, `seams`, `stated`: what was judged, a family of codes each
- `finding`: why a mark or a picture was not named; `no_fit`: why nothing was fitted
- `missing`: why a figure is null; `reliability`: how each stated thing stands
"""
