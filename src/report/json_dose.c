/* report/json_dose.c - dose and response in JSON: additional keys of a result. */
#include <math.h>

#include "report/json_parts.h"

static void write_part(qx_json *j, const qx_dose_part *p)
{
    qx_json_open(j, NULL, '{');
    qx_json_text(j, "part", p->name);
    qx_json_number(j, "estimate", p->estimate);
    qx_json_number(j, "se", p->se);
    qx_json_number(j, "df", p->df);
    qx_json_number(j, "f", p->f);
    qx_json_number(j, "p", p->p);
    if (isnan(p->lack_num_df)) {
        qx_json_null(j, "lack_of_fit");
    } else {
        qx_json_open(j, "lack_of_fit", '{');
        qx_json_number(j, "num_df", p->lack_num_df);
        qx_json_number(j, "den_df", p->lack_den_df);
        qx_json_number(j, "f", p->lack_f);
        qx_json_number(j, "p", p->lack_p);
        qx_json_close(j, '}');
    }
    qx_json_close(j, '}');
}

/* Where a parabola turns, on the scale of the treatment; null where it was not shown to. */
static void write_turn(qx_json *j, const qx_dose *d)
{
    if (isnan(d->turn)) {
        qx_json_null(j, "turning_point");
        return;
    }
    qx_json_open(j, "turning_point", '{');
    qx_json_number(j, "estimate", d->turn);
    qx_json_number(j, "lower", d->turn_lower);
    qx_json_number(j, "upper", d->turn_upper);
    qx_json_bool(j, "highest", d->turns_down);
    qx_json_bool(j, "inside", d->turn > d->least && d->turn < d->most);
    qx_json_close(j, '}');
}

void qx_json_dose(qx_json *j, size_t count, const qx_dose dose[])
{
    qx_json_open(j, "dose_response", '[');
    for (size_t i = 0; i < count; i++) {
        const qx_dose *d = &dose[i];
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "of", d->of);
        if (d->within.count > 0) {
            qx_json_cell(j, "within", &d->within);
        }
        qx_json_open(j, "parts", '[');
        for (size_t k = 0; k < d->part_count; k++) {
            write_part(j, &d->part[k]);
        }
        qx_json_close(j, ']');
        qx_json_whole(j, "degree", (long long)d->degree);
        qx_json_bool(j, "shown", d->shown);
        qx_json_open(j, "slope", '{');
        qx_json_number(j, "estimate", d->slope);
        qx_json_number(j, "se", d->slope_se);
        qx_json_number(j, "lower", d->slope_lower);
        qx_json_number(j, "upper", d->slope_upper);
        qx_json_close(j, '}');
        write_turn(j, d);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}
