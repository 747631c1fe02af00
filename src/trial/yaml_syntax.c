#include "trial/yaml_syntax.h"

#include <stddef.h>
#include <string.h>

#include "base/attr.h"

#define NO_TABS "expected blanks: YAML is indented by blanks only"

/* Beginnings of the parser's sentences, in the order in which they are tried. */
static const qx_yaml_fault faults[] = {
    {"found a tab character", false, "a tab stands in the indentation", NO_TABS},
    {"mapping values are not allowed",
     false,
     "a colon stands where no key can be",
     "expected text that holds a colon and a blank to stand in quotes, and keys to be "
     "indented like their neighbours"},
    {"could not find expected ':'",
     true,
     "a key has no colon behind it",
     "expected \"key: value\""},
    {"did not find expected key",
     false,
     "the line does not fit those above it",
     "expected a key that is indented like its neighbours"},
    {"did not find expected '-' indicator",
     false,
     "the line does not fit the list above it",
     "expected \"- \" indented like its neighbours"},
    {"did not find expected ',' or ']'",
     true,
     "the list that begins here is not closed by \"]\", or a comma is missing in it",
     "expected [one, two, three]"},
    {"did not find expected ',' or '}'",
     true,
     "the part that begins here is not closed by \"}\", or a comma is missing in it",
     "expected {key: value, key: value}"},
    {"found unexpected end of stream",
     true,
     "the quoted text that begins here is not closed",
     "expected a closing quote"},
    {"found unexpected document indicator",
     true,
     "the quoted text that begins here is not closed",
     "expected a closing quote"},
    {"did not find expected node content",
     false,
     "nothing stands where a value should be",
     "expected a value"},
    {"found unknown escape character",
     false,
     "the backslash is followed by a letter that has no meaning",
     "expected text in single quotes, where a backslash is only a backslash"},
    {"did not find expected hexdecimal number",
     false,
     "the backslash is not followed by a hexadecimal number",
     "expected text in single quotes, where a backslash is only a backslash"},
    {"block sequence entries are not allowed",
     false,
     "a list entry \"- \" stands where none can be",
     "expected the list on lines of its own below its key"},
    {"block mapping",
     false,
     "a key stands where none can be",
     "expected keys to be indented like their neighbours"},
    {"did not find expected <document start>",
     false,
     "the line does not belong to what stands above it",
     "expected one protocol of keys and values"},
    {"control characters are not allowed",
     false,
     "a control character stands here",
     "expected text without control characters"},
    {"undefined tag handle",
     false,
     "a tag (!) stands here",
     "expected a value without tags"},
    {"found duplicate %YAML", false, "%YAML is given twice", "expected no % lines"},
    {"found unknown directive name",
     false,
     "a line begins with %",
     "expected no % lines"},
    {"found incompatible YAML",
     false,
     "the version of YAML is not known",
     "expected 1.2"},
};

qx_yaml_fault qx_yaml_fault_of(const char *theirs, bool tab)
{
    static const qx_yaml_fault start_with_tab = {
        "", false, "a tab stands in the indentation", NO_TABS};
    static const qx_yaml_fault start = {
        "",
        false,
        "a value cannot begin like this",
        "expected text that begins with a sign such as @ or % in quotes"};
    static const qx_yaml_fault unknown = {"", false, NULL, NULL};
    if (strstr(theirs, "cannot start any token") != NULL) {
        return tab ? start_with_tab : start;
    }
    for (size_t i = 0; i < QX_COUNT(faults); i++) {
        if (strstr(theirs, faults[i].theirs) != NULL) {
            return faults[i];
        }
    }
    return unknown;
}
