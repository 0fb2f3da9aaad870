"""The parts of tidying: a net that can be changed, evidence, refining, joints."""
