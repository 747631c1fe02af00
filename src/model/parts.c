#include "model/parts.h"

#include <math.h>

/* Distances up to this are multiplied out: fields and dates ask for many powers of few
 * whole numbers. */
#define MULTIPLIED_MOST 4096.0

static double raised(double rho, double distance)
{
    double result = 1.0;
    if (distance > MULTIPLIED_MOST || distance != floor(distance)) {
        return pow(rho, distance);
    }
    for (unsigned k = (unsigned)distance; k > 0; k >>= 1) {
        result *= (k & 1U) != 0 ? rho : 1.0;
        rho *= rho;
    }
    return result;
}

/* The power of a correlation and its derivatives: order 0, 1, 2. Steps between 1 and 2 have
 * no second derivative at nil; the parameter then stands on its bound and adds nothing. */
static double power(double rho, double distance, int order)
{
    if (order == 0) {
        return raised(rho, distance);
    }
    if (order == 1) {
        return distance == 0.0 ? 0.0 : distance * raised(rho, distance - 1.0);
    }
    if (distance == 0.0 || distance == 1.0 || (rho == 0.0 && distance < 2.0)) {
        return 0.0;
    }
    return distance * (distance - 1.0) * raised(rho, distance - 2.0);
}

/* How often each correlation is derived, and whether a variance is. */
typedef struct orders {
    int series, row, place;
    bool variance;
    size_t level; /* residual alone: the level that counts, or QX_NO_COLUMN */
} orders;

bool qx_part_is_variance(qx_part_kind kind)
{
    return kind == QX_PART_UNIT || kind == QX_PART_RESIDUAL || kind == QX_PART_FIELD;
}

static bool of_field(qx_part_kind kind)
{
    return kind == QX_PART_FIELD || kind == QX_PART_ROW || kind == QX_PART_PLACE;
}

static size_t level_of(const qx_parts *p, size_t row)
{
    return p->level_of != NULL ? p->level_of[row] : 0;
}

/* Residual covariance of rows a and b, derived as `o` says. */
static double
residual(const qx_parts *p, const double theta[], size_t a, size_t b, const orders *o)
{
    const size_t level = level_of(p, a);
    if (o->level != QX_NO_COLUMN && level != o->level) {
        return 0.0;
    }
    const double variance = o->variance ? 1.0 : theta[p->at[QX_PART_RESIDUAL] + level];
    if (p->series == NULL) {
        return a == b && o->series == 0 ? variance : 0.0;
    }
    if (p->series[a] != p->series[b]) {
        return 0.0;
    }
    const double distance = fabs(p->time[a] - p->time[b]);
    return variance * power(theta[p->at[QX_PART_SERIES]], distance, o->series);
}

static double
field(const qx_parts *p, const double theta[], size_t a, size_t b, const orders *o)
{
    double value = o->variance ? 1.0 : theta[p->at[QX_PART_FIELD]];
    if (p->row != NULL) {
        const double rows = fabs(p->row[a] - p->row[b]);
        value *= power(theta[p->at[QX_PART_ROW]], rows, o->row);
    }
    if (p->place != NULL) {
        const double places = fabs(p->place[a] - p->place[b]);
        value *= power(theta[p->at[QX_PART_PLACE]], places, o->place);
    }
    return value;
}

typedef double
entry(const qx_parts *p, const double theta[], size_t a, size_t b, const orders *o);

static void fill(const qx_parts *p,
                 const double theta[],
                 entry *of,
                 const orders *o,
                 size_t k,
                 const size_t row[],
                 qx_mat out)
{
    for (size_t b = 0; b < k; b++) {
        for (size_t a = b; a < k; a++) {
            QX_AT(out, a, b) = of(p, theta, row[a], row[b], o);
            QX_AT(out, b, a) = QX_AT(out, a, b);
        }
    }
}

void qx_parts_covariance(
    const qx_parts *p, const double theta[], size_t k, const size_t row[], qx_mat out)
{
    const orders none = {.level = QX_NO_COLUMN};
    fill(p, theta, residual, &none, k, row, out);
    for (size_t b = 0; b < k; b++) {
        for (size_t a = b; a < k; a++) {
            double sum = QX_AT(out, a, b);
            for (size_t i = 0; i < p->count && p->part[i].kind == QX_PART_UNIT; i++) {
                const uint32_t *code = p->part[i].code;
                sum += code[row[a]] == code[row[b]] ? theta[i] : 0.0;
            }
            if (p->at[QX_PART_FIELD] != QX_NO_COLUMN) {
                sum += field(p, theta, row[a], row[b], &none);
            }
            QX_AT(out, a, b) = QX_AT(out, b, a) = sum;
        }
    }
}

/* Adds the derivative by one parameter to the orders. */
static void derive(const qx_part *part, orders *o)
{
    switch (part->kind) {
    case QX_PART_RESIDUAL:
        o->level = part->level;
        o->variance = true;
        break;
    case QX_PART_FIELD:
        o->variance = true;
        break;
    case QX_PART_SERIES:
        o->series++;
        break;
    case QX_PART_ROW:
        o->row++;
        break;
    case QX_PART_PLACE:
        o->place++;
        break;
    case QX_PART_UNIT:
        break;
    }
}

void qx_parts_first(const qx_parts *p,
                    const double theta[],
                    size_t i,
                    size_t k,
                    const size_t row[],
                    qx_mat out)
{
    const qx_part *part = &p->part[i];
    orders o = {.level = QX_NO_COLUMN};
    if (part->kind == QX_PART_UNIT) {
        for (size_t b = 0; b < k; b++) {
            for (size_t a = 0; a < k; a++) {
                QX_AT(out, a, b) = part->code[row[a]] == part->code[row[b]] ? 1.0 : 0.0;
            }
        }
        return;
    }
    derive(part, &o);
    fill(p, theta, of_field(part->kind) ? field : residual, &o, k, row, out);
}

bool qx_parts_curved(const qx_parts *p, size_t i, size_t j)
{
    const qx_part_kind a = p->part[i].kind;
    const qx_part_kind b = p->part[j].kind;
    if (a == QX_PART_UNIT || b == QX_PART_UNIT || of_field(a) != of_field(b)) {
        return false;
    }
    return !(qx_part_is_variance(a) && qx_part_is_variance(b));
}

void qx_parts_second(const qx_parts *p,
                     const double theta[],
                     size_t i,
                     size_t j,
                     size_t k,
                     const size_t row[],
                     qx_mat out)
{
    orders o = {.level = QX_NO_COLUMN};
    derive(&p->part[i], &o);
    derive(&p->part[j], &o);
    fill(p, theta, of_field(p->part[i].kind) ? field : residual, &o, k, row, out);
}
