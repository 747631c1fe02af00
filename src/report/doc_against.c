/* report/doc_against.c - a factorial with an added control: the control against the rest as a
 * sentence of the answer. */
#include <string.h>

#include "report/doc_parts.h"
#include "report/pairs.h"
#include "report/parts.h"
#include "report/words.h"

bool qx_doc_against(qx_doc *doc,
                    const qx_findings *f,
                    const qx_result *r,
                    const char *term)
{
    if (r->against_count == 0 || strcmp(term, QX_ADDED_CONTROL) != 0) {
        return false;
    }
    qx_doc_heading(doc, 4, NULL, "Control against the rest");
    qx_doc_finding(doc,
                   qx_pair_word(r, &r->against[0]),
                   qx_words_difference(doc, f->protocol, r, &r->against[0]));
    return true;
}
