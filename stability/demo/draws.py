"""Random draws by name: one stream per purpose, so that a new event reshuffles nothing else."""

from __future__ import annotations

from zlib import crc32

import numpy as np

from stability.demo.stage import SEED

__all__ = ["draws"]


def draws(*name: object) -> np.random.Generator:
    """Return the generator of this name, the same in every run."""
    return np.random.default_rng([SEED, crc32("/".join(map(str, name)).encode())])
