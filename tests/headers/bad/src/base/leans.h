/* Leans on stddef.h without including it. */
size_t leans(void);
