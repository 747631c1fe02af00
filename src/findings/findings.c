#include "findings/findings.h"

const char *qx_verdict_word(qx_verdict verdict)
{
    switch (verdict) {
    case QX_HIGHER:
        return "higher";
    case QX_LOWER_VERDICT:
        return "lower";
    case QX_TRIVIAL:
        return "trivial";
    case QX_EQUIVALENT:
        return "equivalent";
    case QX_UNSETTLED:
        return "unsettled";
    case QX_CANNOT_TELL:
        break;
    }
    return NULL;
}

void qx_findings_free(qx_findings *findings)
{
    if (findings != NULL) {
        qx_arena_free(findings->arena);
    }
}
