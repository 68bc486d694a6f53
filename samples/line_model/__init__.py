"""A physical model of one four-pair link: cable, connectors and faults in cascade.

The model knows nothing of limits, grading or diagnosis, so that what those say
about its links is a test of them. Scattering parameters are differential,
against 100 ohm, in the convention exp(+jwt).
"""
