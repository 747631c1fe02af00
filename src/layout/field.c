#include "layout/field.h"

size_t qx_field_add(const qx_field *field, size_t a, size_t b)
{
    size_t sum = 0;
    for (size_t unit = 1; unit < field->q; unit *= field->p) {
        sum += (a / unit + b / unit) % field->p * unit;
    }
    return sum;
}

/* a times the polynomial x. */
static size_t shift(const qx_field *field, size_t a)
{
    const size_t top = field->q / field->p;
    const size_t lead = a / top;
    size_t out = a % top * field->p;
    for (size_t k = 0; k < lead; k++) { /* x^m = -modulus */
        for (size_t n = 1; n < field->p; n++) {
            out = qx_field_add(field, out, field->modulus);
        }
    }
    return out;
}

size_t qx_field_multiply(const qx_field *field, size_t a, size_t b)
{
    size_t product = 0;
    size_t power = a;
    for (size_t unit = 1; unit < field->q; unit *= field->p) {
        for (size_t k = 0; k < b / unit % field->p; k++) {
            product = qx_field_add(field, product, power);
        }
        power = shift(field, power);
    }
    return product;
}

/* No two elements other than zero have the product zero. */
static bool without_divisors(const qx_field *field)
{
    for (size_t a = 1; a < field->q; a++) {
        for (size_t b = a; b < field->q; b++) {
            if (qx_field_multiply(field, a, b) == 0) {
                return false;
            }
        }
    }
    return true;
}

bool qx_field_init(size_t q, qx_field *out)
{
    if (q < 2 || q > QX_FIELD_MOST) {
        return false;
    }
    qx_field field = {.q = q, .p = 2, .m = 0};
    while (q % field.p != 0) {
        field.p++;
    }
    for (size_t rest = q; rest > 1; rest /= field.p) {
        if (rest % field.p != 0) {
            return false;
        }
        field.m++;
    }
    for (field.modulus = 0; field.modulus < q; field.modulus++) {
        if (field.m == 1 || without_divisors(&field)) {
            *out = field;
            return true;
        }
    }
    return false;
}
