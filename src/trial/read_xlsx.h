/* trial/read_xlsx.h - the first sheet of a spreadsheet (Office Open XML, ECMA-376 part 1,
 * SpreadsheetML) as CSV text, so that one reader judges both.
 *
 * Taken: shared, inline and formula texts, numbers as they are stored, truth values as 1
 * and 0. A formula counts with its stored result. Cells keep their place: an empty cell is
 * an empty field, an empty row an empty line, so that line and field of the text are row
 * and column of the sheet. Not taken: formats, so a date stays the number of its day.
 *
 * The file is a zip of XML parts: libzip and expat have their one home here. Sizes are
 * limited, so that a small file cannot grow without end. */
#ifndef QX_TRIAL_READ_XLSX_H
#define QX_TRIAL_READ_XLSX_H

#include <stdbool.h>

#include "base/ctx.h"
#include "base/text.h"

#define QX_XLSX_PART_MOST    ((size_t)64 << 20) /* bytes of one part, unpacked */
#define QX_XLSX_ROWS_MOST    ((size_t)1048576)  /* of a sheet, by the standard */
#define QX_XLSX_COLUMNS_MOST ((size_t)1000)     /* that are looked at */

/* Does it begin like a zip file? */
bool qx_xlsx_is(const char *bytes, size_t length);

/* Adds the first sheet to `csv` (commas, decimal points; in an arena of its own). QX_E_INPUT
 * with a message that names `file`: not a spreadsheet, damaged, too large. QX_E_NOMEM. */
qx_status qx_xlsx_to_csv(
    qx_ctx *cx, const char *file, const char *bytes, size_t length, qx_text *csv);

/* Column of the sheet (from 1) to which byte `column` (from 1) of a line of that text
 * belongs. */
size_t qx_xlsx_column(const char *line, size_t column);

#endif
