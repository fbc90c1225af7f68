"""Pure functions of air, milk, heat, motion, motors and chance: numbers in, numbers out.

Nothing here knows files, plants or pages. Vacuum is kPa below ambient; airflow is free air at
ambient unless a name says otherwise. Leaving the range a function holds for raises
`PhysicsRangeError`.
"""

from byrewright.physics.errors import PhysicsRangeError

__all__ = ["PhysicsRangeError"]
