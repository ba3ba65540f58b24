"""What a coordinator works with before a delivery is sent: the template workbook,
the data dictionary, the check and its marked copy."""
