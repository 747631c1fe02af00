#include "tasks/plan_trial.h"

#include <string.h>

#include "base/file.h"
#include "report/plan_report.h"
#include "tasks/lay_out.h"
#include "trial/read_yaml.h"

/* --- what the earlier trial has to do with this one --- */

static const qx_result *result_of(const qx_findings *last, const char *variate)
{
    for (size_t i = 0; i < last->result_count; i++) {
        if (strcmp(last->result[i].variate, variate) == 0) {
            return &last->result[i];
        }
    }
    return NULL;
}

/* Nothing in common is a problem: somebody believes that it counts. A single variate that it
 * lacks is a note. */
static qx_status check_last(qx_ctx *cx,
                            const qx_plan_wish *wish,
                            const qx_plan_made *made,
                            qx_problems *problems)
{
    const qx_protocol *p = made->protocol;
    const qx_findings *last = made->last.findings;
    const qx_place top = {.line = 1, .column = 1};
    size_t known = 0, valued = 0;
    for (size_t v = 0; v < p->variate_count; v++) {
        const qx_result *r = result_of(last, p->variate[v].name);
        known += r == NULL ? 0 : 1;
        valued += r == NULL || r->used == 0 ? 0 : 1;
    }
    if (valued == 0) {
        QX_TRY(qx_problem_add(
            problems,
            wish->from,
            top,
            known == 0
                ? "expected an earlier trial that measured the same, by the same names"
                : "expected an earlier trial whose data were recorded",
            known == 0
                ? "nothing that %s measures was measured in this trial"
                : "nothing that %s measures has values there that could be analysed",
            wish->protocol));
        return qx_fail(cx, QX_E_INPUT, "%s cannot be planned from", wish->from);
    }
    for (size_t v = 0; v < p->variate_count; v++) {
        const qx_result *r = result_of(last, p->variate[v].name);
        if (r == NULL || r->used == 0) {
            QX_TRY(qx_problem_note(problems,
                                   wish->from,
                                   top,
                                   "%s has no values there: its variation is what the "
                                   "protocol expects",
                                   p->variate[v].name));
        }
    }
    for (size_t i = 0; i < last->by_hand_count; i++) {
        QX_TRY(qx_problem_note(problems, wish->from, top, "%s", last->by_hand[i]));
    }
    return QX_OK;
}

static qx_status
read(qx_ctx *cx, const qx_plan_wish *wish, qx_problems *problems, qx_plan_made *made)
{
    const size_t before = qx_problems_count(problems);
    QX_TRY(qx_protocol_read(cx, wish->protocol, problems, &made->protocol));
    QX_TRY(qx_layout_complaints(cx, made->protocol, false, problems));
    if (qx_problems_count(problems) > before) {
        return qx_fail(cx, QX_E_INPUT, "%s cannot be laid out", wish->protocol);
    }
    if (wish->from != NULL) {
        QX_TRY(qx_analyse_file(
            cx, wish->from, NULL, QX_ARITHMETIC_AUTO, NULL, problems, &made->last));
        QX_TRY(check_last(cx, wish, made, problems));
    }
    const qx_plan_request request = {.last = made->last.findings,
                                     .power = wish->power,
                                     .simulate = wish->simulate,
                                     .seed = wish->seed};
    return qx_plan_trial(cx, made->protocol, &request, &made->planned);
}

qx_status qx_plan_file(qx_ctx *cx,
                       const qx_plan_wish *wish,
                       qx_problems *problems,
                       qx_plan_made *out)
{
    qx_plan_made made = {0};
    const qx_status status = read(cx, wish, problems, &made);
    if (status != QX_OK) {
        qx_plan_made_free(&made);
        return status;
    }
    *out = made;
    return QX_OK;
}

void qx_plan_made_free(qx_plan_made *made)
{
    if (made != NULL) {
        qx_planned_free(made->planned);
        qx_analysed_free(&made->last);
        qx_protocol_free(made->protocol);
        *made = (qx_plan_made){0};
    }
}

typedef qx_status plan_writer(qx_ctx *cx, const qx_planned *planned, qx_text *out);

static qx_status
write_one(qx_ctx *cx, const qx_planned *planned, plan_writer *writer, const char *path)
{
    qx_arena *arena = qx_arena_new();
    qx_text *text = arena == NULL ? NULL : qx_text_new(arena);
    qx_status status = text == NULL || path == NULL
                           ? qx_fail(cx, QX_E_NOMEM, "no memory for the plan")
                           : writer(cx, planned, text);
    if (status == QX_OK) {
        status = qx_file_write(cx, path, qx_text_get(text), qx_text_length(text));
    }
    qx_arena_free(arena);
    return status;
}

static qx_status write_all(qx_ctx *cx, const qx_planned *planned, const char *folder)
{
    qx_arena *scratch = qx_ctx_scratch(cx);
    QX_TRY(qx_folder_make(cx, folder));
    QX_TRY(
        write_one(cx, planned, qx_plan_html, qx_path_join(scratch, folder, "plan.html")));
    return write_one(
        cx, planned, qx_plan_json, qx_path_join(scratch, folder, "plan.json"));
}

qx_status qx_plan_write(qx_ctx *cx, const qx_planned *planned, const char *folder)
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, write_all(cx, planned, folder));
    return status;
}
