/* layout/field.h - small finite fields, for squares that are orthogonal.
 *
 * Elements of the field of q = p^m are 0 ... q-1, read as polynomials over the integers
 * mod p by their digits in base p; products are taken modulo an irreducible polynomial that
 * is found by trial (the first in lexical order).
 *
 * Source: Bose 1938, Sankhya 3:323-338 (orthogonal squares from fields).
 *
 * Inner header of the folder. */
#ifndef QX_LAYOUT_FIELD_H
#define QX_LAYOUT_FIELD_H

#include <stdbool.h>
#include <stddef.h>

#define QX_FIELD_MOST 64 /* elements at most */

typedef struct qx_field {
    size_t q, p, m;
    size_t modulus; /* the polynomial without its leading term, by digits */
} qx_field;

/* False: q is no power of a prime, or above QX_FIELD_MOST. */
bool qx_field_init(size_t q, qx_field *out);

size_t qx_field_add(const qx_field *field, size_t a, size_t b);
size_t qx_field_multiply(const qx_field *field, size_t a, size_t b);

#endif
