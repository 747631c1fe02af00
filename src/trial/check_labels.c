/* Labels and levels that are missing where something was measured. */
#include <string.h>

#include "trial/checking.h"
#include "trial/identity.h"

/* --- a label or level that is missing where something was measured --- */

/* `recoded`: a label that the protocol does not know became missing and is told already. */
static qx_status tell_missing(qx_checking *c,
                              const qx_column *column,
                              uint64_t set,
                              bool recoded,
                              const char *expected)
{
    bool *keep = NULL;
    QX_TRY(qx_checking_rows(c, set, &keep));
    for (size_t row = 0; row < c->table->rows; row++) {
        const bool told = recoded && c->bad[row];
        if (keep[row] && column->code[row] == QX_MISSING_CODE && !told) {
            QX_TELL(c, row, column, expected, "%s is missing", column->name);
        }
    }
    return c->failed;
}

static qx_status check_missing(qx_checking *c,
                               const qx_column *column,
                               uint64_t set,
                               bool recoded,
                               const char *expected)
{
    qx_status status = QX_OK;
    if (column != NULL) {
        QX_SCRATCH(c->cx, status, tell_missing(c, column, set, recoded, expected));
    }
    return status;
}

static uint64_t all_variates(const qx_checking *c)
{
    uint64_t set = 0;
    for (size_t v = 0; v < c->p->variate_count; v++) {
        set |= qx_checking_variate(c, v) != NULL ? UINT64_C(1) << v : 0;
    }
    return set;
}

static qx_status check_unit_labels(qx_checking *c, size_t u)
{
    const qx_unit *unit = &c->p->unit[u];
    const qx_column *own = qx_checking_own(c, u);
    const uint64_t below = qx_checking_below(c, u);
    QX_TRY(check_missing(c, own, below, false, "expected the label of the unit"));
    for (size_t i = 0; own == NULL && i < unit->column_count; i++) {
        const bool recoded = qx_protocol_find_treatment(c->p, unit->column[i]) != QX_NONE;
        QX_TRY(check_missing(c,
                             qx_checking_labels(c, unit->column[i]),
                             below,
                             recoded,
                             "expected what tells the unit"));
    }
    return QX_OK;
}

static bool tells_a_unit(const qx_checking *c, const char *name)
{
    for (size_t u = 0; u < c->p->unit_count; u++) {
        for (size_t i = 0; i < c->p->unit[u].column_count; i++) {
            if (qx_checking_own(c, u) == NULL &&
                strcmp(c->p->unit[u].column[i], name) == 0) {
                return true;
            }
        }
    }
    return false;
}

static qx_status check_all_missing(qx_checking *c)
{
    for (size_t u = 0; u < c->p->unit_count; u++) {
        QX_TRY(check_unit_labels(c, u));
    }
    for (size_t t = 0; !c->layout_known && t < c->p->treatment_count; t++) {
        const qx_treatment *treatment = &c->p->treatment[t];
        if (!tells_a_unit(c, treatment->name)) {
            QX_TRY(check_missing(c,
                                 qx_checking_labels(c, treatment->name),
                                 qx_checking_below(c, treatment->on),
                                 true,
                                 "expected the level that the unit was given"));
        }
    }
    return check_missing(
        c, qx_checking_season(c), all_variates(c), true, "expected the season");
}

/* A unit that nothing tells: once for each. Data of a trial file get their treatments
 * from the layout first. */
static void check_untold(qx_checking *c)
{
    bool done[QX_NAMES_MOST] = {false};
    for (size_t v = 0; !c->layout_known && v < c->p->variate_count; v++) {
        const size_t u = qx_checking_variate(c, v) == NULL
                             ? QX_NONE
                             : qx_unit_untold(c->p, c->table, v);
        if (u == QX_NONE || done[u]) {
            continue;
        }
        done[u] = true;
        const qx_place top = {.line = 1, .column = 1};
        qx_checking_keep(
            c,
            qx_problem_add(c->problems,
                           c->table->file,
                           top,
                           "expected a column with its labels",
                           "there is no column \"%s\", and neither treatments "
                           "nor crossed units tell one from the other",
                           c->p->unit[u].name));
    }
}

void qx_check_labels(qx_checking *c, bool lacking)
{
    qx_status status = QX_OK;
    QX_SCRATCH(c->cx, status, check_all_missing(c));
    qx_checking_keep(c, status);
    if (status == QX_OK && !lacking) {
        check_untold(c);
    }
}
