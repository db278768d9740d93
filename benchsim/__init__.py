"""benchsim: a multi-cell weighing system on your desk.  Nothing in here imports this face."""

__version__ = "0.1.0"
