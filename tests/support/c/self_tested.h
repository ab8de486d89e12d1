/* The self-test with its stack measured, for the start-ups beside this file. */

static char *written(char *at, int32_t number)
{
    uint32_t left = number < 0 ? 0u - (uint32_t)number : (uint32_t)number;
    *--at = ' ';
    do {
        *--at = (char)('0' + left % 10u);
        left /= 10u;
    } while (left != 0u);
    if (number < 0) {
        *--at = '-';
    }
    return at;
}

/* noinline: its frame is not part of what is measured. */
__attribute__((noinline)) static void self_tested(void)
{
    char text[64];
    char *at = text + sizeof text - 2;
    uint32_t *place;
    fv_difference first;
    int32_t differ;
    STACK_POINTER(place);
    uint32_t *const began = place;
    for (place = stack_bottom; place < began - 16; place++) {
        *place = PAINT;
    }
    differ = fv_self_test(&steering, &first);
    for (place = stack_bottom; *place == PAINT; place++) {
    }
    at[0] = '\n';
    at[1] = '\0';
    at = written(at, (int32_t)((uintptr_t)began - (uintptr_t)place));
    at = written(at, first.word);
    at = written(at, first.cycle);
    at = written(at, differ);
    WRITE(at);
    END();
    for (;;) {
    }
}

void *memcpy(void *to, const void *from, size_t count);
void *memset(void *to, int byte, size_t count);

__attribute__((used, optimize("no-tree-loop-distribute-patterns"))) void *
memcpy(void *to, const void *from, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        ((char *)to)[i] = ((const char *)from)[i];
    }
    return to;
}

__attribute__((used, optimize("no-tree-loop-distribute-patterns"))) void *
memset(void *to, int byte, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        ((char *)to)[i] = (char)byte;
    }
    return to;
}
