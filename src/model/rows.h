/* model/rows.h - products of hypothesis rows that every df method needs. Private. */
#ifndef QX_MODEL_ROWS_H
#define QX_MODEL_ROWS_H

#include "model/lmm_inner.h"

/* out (r x r) = L M L', symmetric. */
qx_status qx_rows_sandwich(qx_ctx *cx, qx_mat L, qx_mat M, qx_mat out);

/* (L beta)'(L M L' sigma2)^-1 (L beta), M unit. QX_E_RANK when rows depend on each other. */
qx_status qx_rows_wald(qx_ctx *cx, const qx_lmm *fit, qx_mat L, qx_mat M, double *out);

/* 2 v^2 / (g' spread g), v = row' phi row, g_k = row' (dphi/dtheta_k) row. */
double qx_row_moment_df(const qx_lmm *fit, const double row[]);

/* The same under another view of the covariances (parts of them). */
double qx_row_view_df(const qx_lmm_view *view, size_t parts, const double row[]);

#endif
