/* report/json_parts.h - parts of the JSON document that stand in files of their own. Inner
 * header of render_json.c. */
#ifndef QX_REPORT_JSON_PARTS_H
#define QX_REPORT_JSON_PARTS_H

#include "base/json_write.h"
#include "findings/findings.h"

/* {"pinch": "early", ...} */
void qx_json_cell(qx_json *j, const char *key, const qx_cell *cell);

/* "classical": {"why_not", "table", "variance", "relative_efficiency"}, or null. */
void qx_json_classical(qx_json *j, const qx_classical *classical);

/* "dose_response": a list, one entry for each treatment whose levels are amounts, then one for each
 * level of the treatments it interacts with ("within"). */
void qx_json_dose(qx_json *j, size_t count, const qx_dose dose[]);

/* "correlation": a list of neighbours' correlations, "field_trend": the candidates; each
 * only where there are any. */
void qx_json_covariance(qx_json *j, const qx_result *r);

/* "covariates": where means hold, slopes, differences at low and high values; left out where
 * there are none. */
void qx_json_covariates(qx_json *j, const qx_result *r);

/* Parts of render_json.c that other parts use: levels, and a list of differences. */
void qx_json_cell(qx_json *j, const char *key, const qx_cell *cell);
void qx_json_differences(
    qx_json *j, const char *key, size_t count, const qx_difference list[], bool simple);

#endif
