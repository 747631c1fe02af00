/* report/html_style.h - the style sheet of the HTML report, as text. Inner header. */
#ifndef QX_REPORT_HTML_STYLE_H
#define QX_REPORT_HTML_STYLE_H

#include "base/text.h"

void qx_html_style(qx_text *out);

#endif
