"""Tables as people keep them: CSV as spreadsheets write it, and XLSX; read and written."""
