"""Every command on every sample and on random logs: what it says, as digests.

    python -m tests.same_answer FOLDER              what is said here, into FOLDER/digests.txt
    python -m tests.same_answer FOLDER --against F  ... and what is not as in F, another's digests.txt

FOLDER keeps all that was said, so that two differing answers can be laid side by side. What a
compression library made of the same bytes is left out of comparisons: another release of it may pack
better. What was packed is compared.
"""
