"""Makes filters.xls and filters.ods with the libraries xlwt 1.3.0 and odfpy 1.4.1: python3 make.py"""

import datetime

import xlwt
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableColumn, TableRow
from odf.text import P

TITLES = ["Box", "Came in", "Pores", "Pieces", "Remark"]
ROWS = [
    ["FL-01", datetime.datetime(2031, 1, 15, 8, 0), 10, 24, "a"],
    ["FL-02", datetime.datetime(2031, 1, 22, 9, 30), 12.5, 24, None],
    ["Total", None, None, 48, None],
]

book = xlwt.Workbook()
sheet = book.add_sheet("Filters")
hours = xlwt.easyxf(num_format_str="DD.MM.YYYY HH:MM")
for c, title in enumerate(TITLES):
    sheet.write(0, c, title)
for r, row in enumerate(ROWS, 1):
    for c, value in enumerate(row):
        if isinstance(value, datetime.datetime):
            sheet.write(r, c, value, hours)
        elif value is not None:
            sheet.write(r, c, value)
sheet.write(1, 6, "lid was open")
book.save("filters.xls")


def cell(value):
    if value is None:
        return TableCell()
    if isinstance(value, datetime.datetime):
        return TableCell(valuetype="date", datevalue=value.isoformat())
    if isinstance(value, (int, float)):
        return TableCell(valuetype="float", value=str(value))
    made = TableCell(valuetype="string")
    made.addElement(P(text=value))
    return made


document = OpenDocumentSpreadsheet()
table = Table(name="Filters")
table.addElement(TableColumn(numbercolumnsrepeated=3))
table.addElement(TableColumn(visibility="collapse"))
table.addElement(TableColumn())
for r, row in enumerate([TITLES, *ROWS]):
    made = TableRow(visibility="collapse") if r == 2 else TableRow()
    for value in row:
        made.addElement(cell(value))
    if r == 1:
        made.addElement(TableCell(numbercolumnsrepeated=1))
        made.addElement(cell("lid was open"))
    table.addElement(made)
# a sheet as it is saved: a million blank rows below
rest = TableRow(numberrowsrepeated=1048572)
rest.addElement(TableCell(numbercolumnsrepeated=1024))
table.addElement(rest)
document.spreadsheet.addElement(table)
document.save("filters.ods")
