"""A first job from what somebody at the vehicle measured: questions, answers, the job's text.

In: answers as they were typed, the names of pictures that are there. Out: what is asked next, or
every fault of the answers, or the text of a commented job. Nothing here asks, waits or prints.

- `questions.toml`: every question in the words of somebody with a tape, defaults, drawings
- `question`: those questions as values, and which of them some answers lead to
- `answers`: `Answers`, what was typed; to the text of a file and back
- `reading`: one typed answer to its value, or what is wrong with it
- `setup`: all answers to a `Setup`, in metres on the vehicle's axes
- `setup_text`: a `Setup` to the text of a job, and a layout that was proposed to that of its file
"""
