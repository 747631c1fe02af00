/* cli/verb_plan.c - what a trial can show, before a tree is touched. */
#include "cli/verb.h"
#include "report/plan_report.h"
#include "tasks/plan_trial.h"

static qx_status answer(qx_call *call, const qx_planned *planned)
{
    if (call->out != NULL) {
        QX_TRY(qx_plan_write(call->cx, planned, call->out));
    }
    return qx_call_has(call, QX_FLAG_JSON)
               ? qx_plan_json(call->cx, planned, call->answer)
               : qx_plan_text(call->cx, planned, call->answer);
}

static qx_status run(qx_call *call)
{
    qx_plan_made made = {0};
    const qx_plan_wish wish = {.protocol = call->file[0],
                               .from = call->from,
                               .power = call->power,
                               .simulate = call->simulate,
                               .seed = call->seed};
    QX_TRY(qx_plan_file(call->cx, &wish, call->problems, &made));
    const qx_status status = answer(call, made.planned);
    qx_plan_made_free(&made);
    return status;
}

const qx_verb qx_verb_plan = {
    .name = "plan",
    .summary = "what a trial can show, and the replicates it needs",
    .usage = "PROTOCOL [--from LAST.qx] [--power P] [--simulate N] [-o FOLDER]",
    .about =
        "Where each treatment is tested, the least difference that is shown, the power "
        "for the\nmargin, replicates needed to show a difference and to show that it "
        "does not matter,\nand how to spend a budget. The variation comes from "
        "\"expect\" in the protocol, or from\nan earlier trial with --from. With -o also "
        "plan.html with the power curves.\n",
    .example = "  quincunx plan pears.yaml\n"
               "  quincunx plan pears.yaml --from last-year.qx --power 0.9 -o plan\n",
    .flags = QX_FLAG_JSON | QX_FLAG_FROM | QX_FLAG_POWER | QX_FLAG_OUT |
             QX_FLAG_SIMULATE | QX_FLAG_SEED,
    .files_least = 1,
    .files_most = 1,
    .run = run};
