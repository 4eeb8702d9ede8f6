"""A glance at the job: a full-screen view in the terminal beside the headset.

`state.py` says what is shown, `drawing.py` turns that and a size into lines, `letters.py` has the
large figures, `level.py` measures the microphone, and `screen.py` puts it on a terminal.
"""
