"""Every command on every sample and on random logs: what it says, as digests.

    python -m tests.same_answer FOLDER                  into FOLDER/digests.txt
    python -m tests.same_answer FOLDER --against FILE   ... and what is not as in FILE

FOLDER keeps all that was said, so that two differing answers can be laid side by side. Against a
file, which another release of Python or of a library may have made, only what was packed is
compared, not how: another release of a compression library may pack better.
"""
