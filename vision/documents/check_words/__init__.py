"""Words of a check: a sentence for every code that it may carry, made once, at the exit.

In: `Reason`s of an inspection and the `LengthWords` of its job. Out: sentences.

- `words`: `say_check`, which makes the sentence of any reason; start here
- `saying`: what a family of words is, and `Say`, which looks a code up in them
- `cameras`, `pictures`, `laid`, `seams`, `stated`, `no_fit`: a family of codes each
- `reliability`: how each stated thing stands; `notes`: warnings, and why a figure is null
"""
