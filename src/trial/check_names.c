/* Names that clash: each heads a column of the data. */
#include <string.h>

#include "trial/reading.h"

/* --- names: units, treatments, covariates, variates and the season share one space --- */

typedef struct named {
    const char *name;
    const char *what;
    qx_place at;
} named;

enum { ALL_NAMES_MOST = 4 * QX_NAMES_MOST };

static size_t collect_names(const qx_reading *r, named out[])
{
    size_t n = 0;
    for (size_t i = 0; i < r->p->unit_count; i++, n++) {
        out[n] = (named){r->unit[i].name, "a unit", r->unit[i].at};
    }
    for (size_t i = 0; i < r->p->treatment_count; i++, n++) {
        out[n] = (named){r->treatment[i].name, "a treatment", r->treatment[i].at};
    }
    for (size_t i = 0; i < r->p->covariate_count; i++, n++) {
        out[n] = (named){r->covariate[i].name, "a covariate", r->covariate[i].at};
    }
    for (size_t i = 0; i < r->p->variate_count; i++, n++) {
        out[n] = (named){r->variate[i].name, "a variate", r->variate[i].at};
    }
    return n;
}

static void check_season_names(qx_reading *r, size_t count, const named all[])
{
    if (r->p->seasons.level_count == 0) {
        return;
    }
    for (size_t i = 0; i < count; i++) {
        if (strcmp(all[i].name, r->p->seasons.column) == 0 ||
            strcmp(all[i].name, "season") == 0) {
            QX_COMPLAIN(r,
                        all[i].at,
                        "expected another name: the trial has seasons",
                        "%s is called \"%s\" like the season",
                        all[i].what,
                        all[i].name);
        }
    }
}

static void check_names(qx_reading *r)
{
    named all[ALL_NAMES_MOST];
    const size_t count = collect_names(r, all);
    for (size_t i = 0; i < count; i++) {
        for (size_t j = 0; j < i; j++) {
            /* Twice in one section is told by the reader of the tree. */
            if (all[i].what != all[j].what && strcmp(all[i].name, all[j].name) == 0) {
                QX_COMPLAIN(r,
                            all[i].at,
                            "expected every name once, for each heads a column",
                            "%s is called \"%s\" like %s on line %zu",
                            all[i].what,
                            all[i].name,
                            all[j].what,
                            all[j].at.line);
            }
        }
    }
    check_season_names(r, count, all);
}

/* What a further column (`of`, `times`, `columns`) must not be. */
static const char *taken_by(const qx_reading *r, const char *column, bool number)
{
    for (size_t i = 0; i < r->p->variate_count; i++) {
        const bool class =
            r->variate[i].kind == QX_ORDINAL || r->variate[i].kind == QX_NOMINAL;
        if (strcmp(r->variate[i].name, column) == 0 && (!number || class)) {
            return number ? "a variate of classes" : "a variate";
        }
    }
    for (size_t i = 0; i < r->p->covariate_count; i++) {
        if (strcmp(r->covariate[i].name, column) == 0 && !number) {
            return "a covariate";
        }
    }
    if (!number) {
        return NULL; /* columns of a unit may be treatments, units or the season */
    }
    if (qx_protocol_find_unit(r->p, column) != QX_NONE) {
        return "a unit";
    }
    if (qx_protocol_find_treatment(r->p, column) != QX_NONE) {
        return "a treatment";
    }
    const bool season =
        r->p->seasons.level_count > 0 && strcmp(r->p->seasons.column, column) == 0;
    return season ? "the season" : NULL;
}

static void
check_column(qx_reading *r, qx_place at, const char *key, const char *column, bool number)
{
    const char *taken = column[0] != '\0' ? taken_by(r, column, number) : NULL;
    if (taken != NULL) {
        QX_COMPLAIN(r,
                    at,
                    number ? "expected a column of numbers"
                           : "expected a column of labels",
                    "\"%s\" names \"%s\", which is %s",
                    key,
                    column,
                    taken);
    }
}

static void check_columns(qx_reading *r)
{
    for (size_t u = 0; u < r->p->unit_count; u++) {
        for (size_t i = 0; i < r->unit[u].column_count; i++) {
            check_column(r,
                         qx_reading_place(r->unit_node[u], "columns"),
                         "columns",
                         r->unit[u].column[i],
                         false);
        }
    }
    for (size_t v = 0; v < r->p->variate_count; v++) {
        const qx_variate *variate = &r->variate[v];
        const qx_place of = qx_reading_place(r->variate_node[v], "of");
        check_column(r, of, "of", variate->of, true);
        check_column(r,
                     qx_reading_place(r->variate_node[v], "times"),
                     "times",
                     variate->times,
                     true);
        if (strcmp(variate->of, variate->name) == 0) {
            QX_COMPLAIN(r,
                        of,
                        "expected the column of how many were looked at",
                        "\"%s\" cannot be a share of itself",
                        variate->name);
        }
    }
}

void qx_protocol_check_names(qx_reading *r)
{
    check_names(r);
    check_columns(r);
}
