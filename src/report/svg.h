/* report/svg.h - a scene as SVG 1.1 that can be read aloud: role="img", <title> and <desc>,
 * texts kept as text, colours by class so that light, dark and paper share one picture.
 *
 * `id` (letters, digits, hyphen) makes the identifiers unique in the document. `alone` adds
 * name space and style sheet, so that the picture can stand in a file of its own.
 * Numbers are rounded to a tenth of a unit: the same picture gives the same bytes. */
#ifndef QX_REPORT_SVG_H
#define QX_REPORT_SVG_H

#include <stdbool.h>

#include "base/text.h"
#include "report/scene.h"

void qx_svg_write(qx_text *out, const qx_scene *scene, const char *id, bool alone);

#endif
