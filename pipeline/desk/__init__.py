"""What a coordinator works with before a delivery is sent: the template workbook and the data dictionary, both made from the schemas."""
