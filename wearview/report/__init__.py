"""The customer's report: what was seen, what the technician decided, and the photos that show it.

Made from the record alone: nothing is measured or graded again here.
"""

from wearview.report.pictures import jpeg
from wearview.report.shop import Shop, keep_logo, keep_shop, load_shop, shop_folder
from wearview.report.write import counter_html, write_report

__all__ = [
    "Shop",
    "counter_html",
    "jpeg",
    "keep_logo",
    "keep_shop",
    "load_shop",
    "shop_folder",
    "write_report",
]
