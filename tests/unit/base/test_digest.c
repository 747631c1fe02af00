#include "test.h"

#include "base/digest.h"

static void the_standard_examples(void **state)
{
    (void)state;
    char hex[65];
    /* Source: NIST, Examples with Intermediate Values for FIPS 180-4, SHA-256, one block
     * and two blocks; the empty message from NIST's SHA test vectors (CAVP, Len = 0). */
    qx_digest("abc", 3, hex);
    assert_string_equal(
        hex, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    const char *two = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    qx_digest(two, strlen(two), hex);
    assert_string_equal(
        hex, "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    qx_digest("", 0, hex);
    assert_string_equal(
        hex, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(the_standard_examples)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
