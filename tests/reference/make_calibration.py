"""Make the table of invented sets of jackets: 4,000 freezes, each solved directly.

Takes some minutes: ``PYTHONPATH=service:tests python tests/reference/make_calibration.py``
(``bash deploy/long.sh calibration``).
"""

import csv

from reference import calibration_cases
from reference.calibration_cases import HEAD, TABLE


def main() -> None:
    """Write the table anew."""
    with TABLE.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(HEAD)
        out.writerows(calibration_cases.made())


if __name__ == "__main__":
    main()
