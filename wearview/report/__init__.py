"""The customer's report: what was seen, what the technician decided, and the photos that show it.

Made from the record alone: nothing is measured or graded again here.
"""

from wearview.report.pictures import jpeg
from wearview.report.write import write_report

__all__ = ["jpeg", "write_report"]
