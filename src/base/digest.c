/* base/digest.c - cover of libsodium. crypto_hash_sha256 has no state and needs no
 * sodium_init, whose randomness would be a side effect of a library call. */
#include "base/digest.h"

#include <sodium/crypto_hash_sha256.h>

void qx_digest(const char *bytes, size_t length, char out[65])
{
    static const char hex[] = "0123456789abcdef";
    unsigned char hash[crypto_hash_sha256_BYTES];
    (void)crypto_hash_sha256(hash, (const unsigned char *)bytes, length);
    for (size_t i = 0; i < sizeof hash; i++) {
        out[2 * i] = hex[hash[i] >> 4];
        out[2 * i + 1] = hex[hash[i] & 15];
    }
    out[64] = '\0';
}
