"""What a notebook calls: showing results, and sliders.

In: results and functions that tell them. Out: what a reader of the notebook sees. Nothing here computes a statistic.
"""

from .showing import show

__all__ = ["show"]
