"""One engine that makes schedules: sample logs, the classroom, and the replay of recorded jobs."""

from tracelens.engine.simulate import Simulated, Truth, simulate

__all__ = ["Simulated", "Truth", "simulate"]
