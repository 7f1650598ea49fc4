"""Reading and writing files: records, workbooks, reports."""
