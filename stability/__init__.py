"""Storage stability of thinned reactive binders: plan, measure, forecast, warn, state."""

__version__ = "0.1.0"
