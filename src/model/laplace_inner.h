/* model/laplace_inner.h - how a plan of model/laplace.h is laid out. Inner header of model/.
 *
 * Sets: random columns that some row has in common hang together; sets never meet, so that
 * H = -F'' is block diagonal over them. Rows are sorted by set. Inside a set the columns of
 * the term with the most units (`lead`) come first: two of them never meet, so that
 *
 *     H = | D  C' |     D diagonal, C sparse (`meet`), E dense and small: a Schur complement
 *         | C  E  |     S = E - C D^-1 C' is all that has to be factored.
 *
 * Trees inside blocks: D the trees of the block, E the block alone. */
#ifndef QX_MODEL_LAPLACE_INNER_H
#define QX_MODEL_LAPLACE_INNER_H

#include "model/laplace.h"

typedef struct qx_laplace_set {
    size_t row, rows;       /* its rows: places row ... row + rows - 1 */
    size_t column, columns; /* its columns, by place */
    size_t lead;            /* the first `lead` columns are those of D */
    size_t slot, slots;     /* its part of `meet` */
} qx_laplace_set;

struct qx_laplace_plan {
    qx_laplace_problem problem;
    size_t q;         /* columns, those without rows included */
    size_t lead_term; /* the term in D */
    size_t set_count;
    const qx_laplace_set *set;
    const size_t *row;      /* n: problem's row at each place */
    const double *x;        /* n p: X by place, row-major */
    const double *offset;   /* n d by place, or NULL */
    const uint32_t *column; /* n m: column inside its set for each term */
    const size_t
        *slot; /* n m: where (column of lead term, this column) is in meet, counted
                               in the set; nothing for the lead term itself */
    const size_t *meet_start; /* by place of column + 1: a D column's part of `meet` */
    const uint32_t *meet;     /* E columns (from 0) that a D column meets */
    const size_t *place;      /* q: place of each column, QX_NO_COLUMN without rows */
    size_t most_rows, most_columns, most_rest, most_slots;
    const double *node, *log_weight; /* quadrature: z, log w + z^2 */
};

/* Room for evaluations of one plan; any number of them one after the other. */
typedef struct qx_laplace_room {
    const qx_laplace_plan *plan;
    const void *data;
    const double *psi;
    double rounding; /* of F: as in the options */
    double sd[QX_LAPLACE_TERMS_MOST];
    double *fixed;      /* n d: X beta + offset, by place */
    double *eta;        /* most_rows d */
    double *c;          /* n d: d log L / d eta through the fixed part, by place */
    qx_row_terms terms; /* most_rows */
    double *D, *C, *E, *inverse;          /* lead, slots, rest^2, rest^2 of one set */
    double *P;                            /* slots: C times the inverse */
    double *gradient, *step, *before, *v; /* most_columns */
    double *a, *Zv;                       /* most_rows d; d */
    double *mean_g, *weight, *node_u;     /* quadrature: most_rows d; points; points */
    double *mean_lp;                      /* most_rows s */
    double *mode;                         /* columns by place */
} qx_laplace_room;

qx_status qx_laplace_room_make(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_laplace_plan *plan,
                               const void *data,
                               qx_laplace_room *out);

/* log L at x with the modes of `room->mode` as start and result. *value is -INFINITY where
 * it cannot be had. gradient: length of x or NULL. */
qx_status qx_laplace_at(qx_ctx *cx,
                        qx_laplace_room *room,
                        const double x[],
                        double *value,
                        double gradient[]);

/* Brings the room to parameters x (which must outlive what is asked next): X beta + offset
 * at every place, sd, psi. */
void qx_laplace_point(qx_laplace_room *room, const double x[]);

/* The penalty at the point of the room, its slopes added to room->c and to those of psi (NULL: value only). */
qx_status qx_laplace_penalty(
    qx_ctx *cx, qx_laplace_room *room, double *value, double psi_slope[], bool slopes);

/* The information that is had without differences, at the place last evaluated: beta X'V^-1X
 * (V^-1 with the weights at the modes), standard deviations as if the linearised model were
 * normal, psi by differences of the gradient (NULL: left at 0). Length of x square. */
qx_status qx_laplace_information(qx_ctx *cx,
                                 qx_laplace_room *room,
                                 const double x[],
                                 const double gradient[],
                                 qx_mat out);

/* As qx_laplace_maximise, without a rewind of its own: `arena` may be the scratch. */
qx_status qx_laplace_maximise_here(qx_ctx *cx,
                                   qx_arena *arena,
                                   const qx_laplace_plan *plan,
                                   const void *data,
                                   const double start[],
                                   const qx_laplace_options *options,
                                   qx_laplace_fit *out);

/* One set: predictors at its modes u (columns of the set). */
void qx_laplace_predict(qx_laplace_room *room,
                        const qx_laplace_set *set,
                        const double u[]);

/* One set: likelihood terms at room->eta. */
void qx_laplace_rows(qx_laplace_room *room,
                     const qx_laplace_set *set,
                     qx_rows_order order);

/* One set: D, C, E from the curvature in room->terms, `ridge` added to the diagonal, and
 * the factor of the Schur complement in E. false: not positive definite. */
bool qx_laplace_factor(qx_ctx *cx,
                       qx_laplace_room *room,
                       const qx_laplace_set *set,
                       double ridge);

/* One set: b = H^-1 b; log|H|; the inverse where rows need it. */
void qx_laplace_solve(const qx_laplace_room *room, const qx_laplace_set *set, double b[]);
double qx_laplace_logdet(const qx_laplace_room *room, const qx_laplace_set *set);
qx_status qx_laplace_invert(qx_ctx *cx, qx_laplace_room *room, const qx_laplace_set *set);

/* One set: the mode, by Newton steps from u. On return room->terms belong to the mode
 * (order as asked for) and H is factored. *log_joint: F there; false: none was found. */
bool qx_laplace_mode(qx_ctx *cx,
                     qx_laplace_room *room,
                     const qx_laplace_set *set,
                     double u[],
                     qx_rows_order order,
                     double *log_joint);

/* One set by quadrature (agq.c): log of the integral, and what its gradient needs: mean_g,
 * mean_lp and mean_gu over the nodes, A and kappa as in laplace.c. */
typedef struct qx_laplace_nodes {
    double value;
    double kappa, A;
    double sd_slope; /* sum over nodes and rows of weight g u */
} qx_laplace_nodes;

void qx_laplace_quadrature(qx_laplace_room *room,
                           const qx_laplace_set *set,
                           double u,
                           bool slopes,
                           qx_laplace_nodes *out);

#endif
