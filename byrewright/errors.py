"""The root of every error that is meant for people.

    ByrewrightError
      FileProblems            a file cannot be used; carries one Problem for each thing wrong
        PlantError            ... the plant file
        BriefError            ... the brief
        LimitsError           ... the limits file
      SetOutError             a set-out table cannot be used
      PhysicsRangeError       a number outside the range a formula holds for
      NotPossible             a study came to a number that cannot be, and gives none

The text of any of them is plain sentences. Whatever else is raised is a fault of the program.
"""

from __future__ import annotations


class ByrewrightError(Exception):
    """Something the user can put right; the text says what and how."""
