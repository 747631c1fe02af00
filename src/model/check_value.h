/* model/check_value.h - what a test of an assumption gives. */
#ifndef QX_MODEL_CHECK_VALUE_H
#define QX_MODEL_CHECK_VALUE_H

typedef struct qx_check_value {
    double value, p, num_df, den_df; /* NAN where there is none */
} qx_check_value;

#endif
