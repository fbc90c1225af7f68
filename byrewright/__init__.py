"""byrewright: design, prove, commission and look after the plant of large milking parlours."""

__version__ = "0.1.0"
