"""One pure function for each thing a person does; web and command line only render what these give.

life       a number or a sheet: its film, stations, marks, account        recall    metres or sheets: its numbers
balance    accounts, differences, what is not settled                     withdraw  numbers out of good, with the reason
findings   what the records tell is wrong, each with its place            settings  numbering plan and boxes
"""

from .balance import balance
from .findings import findings
from .life import life, number_of
from .recall import forward_numbers, recall, withdraw
from .settings import box_settings, numbering_plan, read_diagnosis

__all__ = [
    "balance",
    "box_settings",
    "findings",
    "forward_numbers",
    "life",
    "number_of",
    "numbering_plan",
    "read_diagnosis",
    "recall",
    "withdraw",
]
