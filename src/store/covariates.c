#include "store/covariates.h"

#include "store/db.h"
#include "store/trial_file_inner.h"

static qx_status recorded(
    qx_ctx *cx, qx_trial_file *file, const char *quantity, const char *unit, bool *out)
{
    static const char ask[] =
        "SELECT 1 FROM observation JOIN thing ON thing.id = observation.thing"
        " WHERE quantity = ?1 AND unit = ?2 AND value IS NOT NULL LIMIT 1";
    qx_statement *statement = NULL;
    QX_TRY(qx_db_statement(cx, file->db, ask, &statement));
    qx_bind_text(statement, 1, quantity);
    qx_bind_text(statement, 2, unit);
    QX_TRY(qx_db_step(cx, file->db, statement, out));
    return *out ? qx_db_do(cx, file->db, statement) : QX_OK;
}

/* "new and length" of the variates with values that the covariate belongs to; "" for none. */
static qx_status waiting(qx_ctx *cx,
                         qx_trial_file *file,
                         const qx_protocol *p,
                         const qx_covariate *covariate,
                         const char **out)
{
    *out = "";
    for (size_t v = 0; v < p->variate_count; v++) {
        const qx_variate *variate = &p->variate[v];
        bool there = false;
        if (!qx_unit_reaches(p, covariate->on, variate->on)) {
            continue;
        }
        QX_TRY(recorded(cx, file, variate->name, p->unit[variate->on].name, &there));
        if (there) {
            *out = qx_arena_printf(qx_ctx_scratch(cx),
                                   "%s%s%s",
                                   *out,
                                   (*out)[0] == '\0' ? "" : " and ",
                                   variate->name);
        }
        if (*out == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for a note");
        }
    }
    return QX_OK;
}

static qx_status
note_all(qx_ctx *cx, qx_trial_file *file, const qx_protocol *p, qx_problems *problems)
{
    for (size_t i = 0; i < p->covariate_count; i++) {
        const qx_covariate *covariate = &p->covariate[i];
        const qx_place top = {.line = 1, .column = 1};
        const char *list;
        bool there = false;
        QX_TRY(recorded(cx, file, covariate->name, p->unit[covariate->on].name, &there));
        if (there) {
            continue;
        }
        QX_TRY(waiting(cx, file, p, covariate, &list));
        if (list[0] != '\0') {
            QX_TRY(qx_problem_note(problems,
                                   file->path,
                                   top,
                                   "%s is not recorded yet: %s cannot be analysed before "
                                   "it is",
                                   covariate->name,
                                   list));
        }
    }
    return QX_OK;
}

qx_status qx_covariates_note(qx_ctx *cx,
                             qx_trial_file *file,
                             const qx_protocol *protocol,
                             qx_problems *problems)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, note_all(cx, file, protocol, problems));
    return status;
}
