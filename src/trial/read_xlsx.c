#include "trial/read_xlsx.h"

#include <expat.h>
#include <stdio.h>
#include <string.h>
#include <zip.h>

#include "base/array.h"
#include "trial/zip_part.h"

#define CELL_BYTES_MOST ((size_t)32767) /* of a cell, by the standard */
#define PATH_ROOM       256

bool qx_xlsx_is(const char *bytes, size_t length)
{
    return length >= 4 && memcmp(bytes, "PK\003\004", 4) == 0;
}

/* What the handlers of all parts share. Names come as "namespace|name"; the namespace is
 * not looked at, since strict and transitional files differ in it. */
typedef struct reading {
    qx_ctx *cx;
    const char *file;
    qx_arena *arena;
    XML_Parser parser;
    qx_status failed;

    char sheet_id[PATH_ROOM];   /* relationship of the first sheet */
    char sheet_path[PATH_ROOM]; /* its part */

    qx_array shared; /* const char *: shared texts */
    qx_text *value;  /* of the text or cell being read */
    bool in_value;
    bool phonetic; /* reading aids inside a text do not belong to it */

    qx_text *csv;
    size_t row, column; /* last written, from 1; column 0: none in this row */
    size_t width;       /* fields of the first row that has any: the header */
    size_t cell_column;
    char cell_kind; /* 's'hared, 't'ext, 'n'umber, 'b'oolean, 'e'rror */
} reading;

static void stop(reading *r, qx_status status)
{
    r->failed = r->failed == QX_OK ? status : r->failed;
    (void)XML_StopParser(r->parser, XML_FALSE);
}

static void damaged(reading *r, const char *what)
{
    stop(r,
         qx_fail(r->cx,
                 QX_E_INPUT,
                 "%s cannot be read as a spreadsheet (%s); save it again as .xlsx or as "
                 "CSV",
                 r->file,
                 what));
}

static const char *bare(const char *name)
{
    const char *mark = strrchr(name, '|');
    return mark == NULL ? name : mark + 1;
}

static const char *attribute(const char **pairs, const char *name)
{
    for (size_t i = 0; pairs[i] != NULL; i += 2) {
        if (strcmp(bare(pairs[i]), name) == 0) {
            return pairs[i + 1];
        }
    }
    return NULL;
}

/* --- which part is the first sheet --- */

static void keep_path(reading *r, char room[PATH_ROOM], const char *text)
{
    if (text == NULL || strlen(text) >= PATH_ROOM - 4) {
        damaged(r, "a sheet has no proper name");
        return;
    }
    (void)snprintf(room, PATH_ROOM, "%s", text);
}

/* <sheet name="..." sheetId="1" r:id="rId1"/>: both attributes end on "id"; the one with
 * the namespace counts. */
static void book_begin(void *data, const char *name, const char **pairs)
{
    reading *r = data;
    if (strcmp(bare(name), "sheet") != 0 || r->sheet_id[0] != '\0') {
        return;
    }
    for (size_t i = 0; pairs[i] != NULL; i += 2) {
        const char *end = strrchr(pairs[i], '|');
        if (end != NULL && strcmp(end, "|id") == 0) {
            keep_path(r, r->sheet_id, pairs[i + 1]);
        }
    }
}

static void relation_begin(void *data, const char *name, const char **pairs)
{
    reading *r = data;
    const char *id = attribute(pairs, "Id");
    if (strcmp(bare(name), "Relationship") != 0 || id == NULL ||
        strcmp(id, r->sheet_id) != 0) {
        return;
    }
    const char *target = attribute(pairs, "Target");
    if (target != NULL && *target == '/') {
        keep_path(r, r->sheet_path, target + 1);
        return;
    }
    char joined[PATH_ROOM];
    if (target == NULL || strlen(target) >= PATH_ROOM - 4) {
        damaged(r, "a sheet has no proper name");
        return;
    }
    (void)snprintf(joined, sizeof joined, "xl/%s", target);
    keep_path(r, r->sheet_path, joined);
}

/* --- texts --- */

static void collect(void *data, const char *bytes, int length)
{
    reading *r = data;
    if (!r->in_value || r->phonetic) {
        return;
    }
    if (qx_text_length(r->value) + (size_t)length > CELL_BYTES_MOST) {
        damaged(r, "a cell holds more than 32,767 characters");
        return;
    }
    qx_text_add_bytes(r->value, bytes, (size_t)length);
}

static void value_new(reading *r)
{
    r->value = qx_text_new(r->arena);
    if (r->value == NULL) {
        stop(r, qx_fail(r->cx, QX_E_NOMEM, "no memory to read %s", r->file));
    }
}

static void shared_begin(void *data, const char *name, const char **pairs)
{
    reading *r = data;
    (void)pairs;
    name = bare(name);
    if (strcmp(name, "si") == 0) {
        value_new(r);
    } else if (strcmp(name, "rPh") == 0) {
        r->phonetic = true;
    } else if (strcmp(name, "t") == 0 && r->value != NULL) {
        r->in_value = true;
    }
}

static void shared_end(void *data, const char *name)
{
    reading *r = data;
    name = bare(name);
    if (strcmp(name, "t") == 0) {
        r->in_value = false;
    } else if (strcmp(name, "rPh") == 0) {
        r->phonetic = false;
    } else if (strcmp(name, "si") == 0 && r->value != NULL) {
        const char **slot = qx_array_push(&r->shared);
        if (slot == NULL || qx_text_failed(r->value)) {
            stop(r, qx_fail(r->cx, QX_E_NOMEM, "no memory to read %s", r->file));
            return;
        }
        *slot = qx_text_get(r->value);
        r->value = NULL;
    }
}

/* --- cells --- */

/* "BC12": column and row, from 1; 0 where the text is not a place. */
static void place_of(const char *text, size_t *column, size_t *row)
{
    *column = 0;
    *row = 0;
    for (; *text >= 'A' && *text <= 'Z' && *column <= QX_XLSX_COLUMNS_MOST; text++) {
        *column = *column * 26 + (size_t)(*text - 'A') + 1;
    }
    for (; *text >= '0' && *text <= '9' && *row <= QX_XLSX_ROWS_MOST; text++) {
        *row = *row * 10 + (size_t)(*text - '0');
    }
}

static char kind_of(const char *type)
{
    static const struct {
        const char *type;
        char kind;
    } kinds[] = {{"s", 's'}, {"str", 't'}, {"inlineStr", 't'}, {"b", 'b'}, {"e", 'e'}};
    for (size_t i = 0; type != NULL && i < QX_COUNT(kinds); i++) {
        if (strcmp(type, kinds[i].type) == 0) {
            return kinds[i].kind;
        }
    }
    return 'n';
}

static void row_begin(reading *r, const char **pairs)
{
    size_t column, row = r->row + 1;
    const char *number = attribute(pairs, "r");
    if (number != NULL) {
        place_of(number, &column, &row);
    }
    if (row <= r->row || row > QX_XLSX_ROWS_MOST) {
        damaged(r, "its rows are out of order");
        return;
    }
    for (size_t k = r->row == 0 ? 1 : r->row; k < row; k++) {
        qx_text_add(r->csv, "\n");
    }
    r->row = row;
    r->column = 0;
}

static void cell_begin(reading *r, const char **pairs)
{
    size_t row = 0;
    const char *place = attribute(pairs, "r");
    r->cell_column = r->column + 1;
    if (place != NULL) {
        place_of(place, &r->cell_column, &row);
    }
    if (r->row == 0 || r->cell_column <= r->column ||
        r->cell_column > QX_XLSX_COLUMNS_MOST) {
        damaged(r, "its cells are out of order or beyond column 1,000");
        return;
    }
    r->cell_kind = kind_of(attribute(pairs, "t"));
    value_new(r);
}

static void sheet_begin(void *data, const char *name, const char **pairs)
{
    reading *r = data;
    name = bare(name);
    if (strcmp(name, "row") == 0) {
        row_begin(r, pairs);
    } else if (strcmp(name, "c") == 0) {
        cell_begin(r, pairs);
    } else if (strcmp(name, "rPh") == 0) {
        r->phonetic = true;
    } else if ((strcmp(name, "v") == 0 || strcmp(name, "t") == 0) && r->value != NULL) {
        r->in_value = true;
    }
}

static const char *shared_text(reading *r, const char *number)
{
    size_t at = 0;
    for (; *number >= '0' && *number <= '9' && at <= QX_XLSX_PART_MOST; number++) {
        at = at * 10 + (size_t)(*number - '0');
    }
    if (*number != '\0' || at >= r->shared.count) {
        damaged(r, "a text is missing");
        return "";
    }
    return *(const char **)qx_array_at(&r->shared, at);
}

/* Empty cells at the end of a row are often not stored. */
static void row_end(reading *r)
{
    if (r->width == 0) {
        r->width = r->column;
    }
    for (size_t k = r->column; r->column > 0 && k < r->width; k++) {
        qx_text_add(r->csv, ",");
    }
}

/* On one line, so that lines of the text stay rows of the sheet. */
static void add_cell(reading *r, const char *text)
{
    char *line = qx_arena_copy(r->arena, text);
    if (line == NULL) {
        stop(r, qx_fail(r->cx, QX_E_NOMEM, "no memory to read %s", r->file));
        return;
    }
    for (char *c = line; *c != '\0'; c++) {
        if (*c == '\n' || *c == '\r') {
            *c = ' ';
        }
    }
    qx_text_csv(r->csv, line);
}

static void cell_end(reading *r)
{
    const char *text = qx_text_get(r->value);
    if (r->cell_kind == 's' && *text != '\0') {
        text = shared_text(r, text);
    }
    /* A cell without anything (a border, a colour) must not widen its row. */
    if (*text != '\0') {
        for (size_t k = r->column == 0 ? 1 : r->column; k < r->cell_column; k++) {
            qx_text_add(r->csv, ",");
        }
        add_cell(r, text);
        r->column = r->cell_column;
    }
    r->value = NULL;
}

static void sheet_end(void *data, const char *name)
{
    reading *r = data;
    name = bare(name);
    if (strcmp(name, "v") == 0 || strcmp(name, "t") == 0) {
        r->in_value = false;
    } else if (strcmp(name, "rPh") == 0) {
        r->phonetic = false;
    } else if (strcmp(name, "c") == 0 && r->value != NULL) {
        cell_end(r);
    } else if (strcmp(name, "row") == 0) {
        row_end(r);
    }
}

/* --- parts --- */

static qx_status read_part(reading *r,
                           zip_t *zip,
                           const char *name,
                           bool needed,
                           XML_StartElementHandler begin,
                           XML_EndElementHandler end)
{
    qx_bytes part = {0};
    QX_TRY(qx_zip_part(r->cx, r->arena, zip, r->file, name, QX_XLSX_PART_MOST, &part));
    if (part.bytes == NULL) {
        return needed ? qx_fail(r->cx,
                                QX_E_INPUT,
                                "%s is not a spreadsheet (no %s in it); expected .xlsx "
                                "or CSV",
                                r->file,
                                name)
                      : QX_OK;
    }
    r->parser = XML_ParserCreateNS(NULL, '|');
    if (r->parser == NULL) {
        return qx_fail(r->cx, QX_E_NOMEM, "no memory to read %s", r->file);
    }
    XML_SetUserData(r->parser, r);
    XML_SetElementHandler(r->parser, begin, end);
    XML_SetCharacterDataHandler(r->parser, collect);
    const enum XML_Status parsed =
        XML_Parse(r->parser, part.bytes, (int)part.length, XML_TRUE);
    if (parsed != XML_STATUS_OK && r->failed == QX_OK) {
        damaged(r, XML_ErrorString(XML_GetErrorCode(r->parser)));
    }
    XML_ParserFree(r->parser);
    r->parser = NULL;
    r->value = NULL;
    r->in_value = false;
    return r->failed;
}

static qx_status read_book(reading *r, zip_t *zip)
{
    QX_TRY(read_part(r, zip, "xl/workbook.xml", true, book_begin, NULL));
    QX_TRY(read_part(r, zip, "xl/_rels/workbook.xml.rels", true, relation_begin, NULL));
    if (r->sheet_path[0] == '\0') {
        return qx_fail(r->cx, QX_E_INPUT, "%s holds no sheet", r->file);
    }
    QX_TRY(read_part(r, zip, "xl/sharedStrings.xml", false, shared_begin, shared_end));
    QX_TRY(read_part(r, zip, r->sheet_path, true, sheet_begin, sheet_end));
    qx_text_add(r->csv, "\n");
    return qx_text_failed(r->csv)
               ? qx_fail(r->cx, QX_E_NOMEM, "no memory to read %s", r->file)
               : QX_OK;
}

static qx_status
convert(qx_ctx *cx, const char *file, const char *bytes, size_t length, qx_text *csv)
{
    reading r = {.cx = cx,
                 .file = file,
                 .arena = qx_ctx_scratch(cx),
                 .csv = csv,
                 .shared = QX_ARRAY(qx_ctx_scratch(cx), sizeof(const char *))};
    zip_t *zip = NULL;
    QX_TRY(qx_zip_open(cx, file, bytes, length, &zip));
    const qx_status status = read_book(&r, zip);
    zip_discard(zip);
    return status;
}

qx_status qx_xlsx_to_csv(
    qx_ctx *cx, const char *file, const char *bytes, size_t length, qx_text *csv)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, convert(cx, file, bytes, length, csv));
    return status;
}

size_t qx_xlsx_column(const char *line, size_t column)
{
    size_t field = 1;
    bool quoted = false;
    for (size_t i = 0; i + 1 < column && line[i] != '\0'; i++) {
        if (line[i] == '"') {
            quoted = !quoted;
        } else if (line[i] == ',' && !quoted) {
            field++;
        } else if (line[i] == '\n' && !quoted) {
            break;
        }
    }
    return field;
}
