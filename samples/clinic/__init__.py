"""An invented job: the new cabling of the Alder Row veterinary clinic, link by link.

Place, people and serial numbers are made up. Each module tells a few of the
stories that an installer meets.
"""
