/* Preloaded into a process under test: notes, in order, all that it does to the files below RECORD_ROOT, so that a test
 * can tell what a disk holds after a power cut at any moment. What is done is done as usual.
 *
 * RECORD_ROOT   only this folder and what is below it are noted
 * RECORD_TO     the file that gets the notes; elsewhere
 *
 * A note is a `head`, then the name, the other name, the data. Its kinds:
 *
 * C  a file came into being            name
 * W  bytes written                     data, at
 * T  a file cut or grown               at: its new size
 * S  fsync or fdatasync of a file      data: all that the file holds then (also what was written unnoticed, by stdio)
 * D  fsync of a folder                 name
 * M  a folder came into being          name
 * R  rename                            name, other: the new one
 * U  unlink                            name
 * A  written to the standard output    data: what the process acknowledges
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/sendfile.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

struct head {
    uint64_t kind, file;
    int64_t at;
    uint64_t name, other, size;
};

static pthread_mutex_t one_at_a_time = PTHREAD_RECURSIVE_MUTEX_INITIALIZER_NP;

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))
#define ALONE(...) \
    pthread_mutex_lock(&one_at_a_time); \
    __VA_ARGS__ \
    pthread_mutex_unlock(&one_at_a_time);

static int below_root(const char *path)
{
    const char *root = getenv("RECORD_ROOT");
    size_t length = root ? strlen(root) : 0;
    return length > 0 && strncmp(path, root, length) == 0 && (path[length] == '/' || path[length] == 0);
}

static int path_of(int fd, char *path, size_t room)
{
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, room - 1);
    if (length < 0)
        return 0;
    path[length] = 0;
    return below_root(path);
}

static int noted(int fd)
{
    char path[4096];
    return path_of(fd, path, sizeof path);
}

static uint64_t number_of(int fd)
{
    struct stat state;
    return fstat(fd, &state) == 0 ? state.st_ino : 0;
}

static void note(char kind, uint64_t file, int64_t at, const char *name, const char *other, const void *data, size_t size)
{
    static int to = -1;
    const char *path = getenv("RECORD_TO");
    if (to < 0 && path != NULL)
        to = REAL(open)(path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    if (to < 0)
        abort();
    struct head head = {(uint64_t)kind, file, at, strlen(name), strlen(other), size};
    struct iovec parts[] = {{&head, sizeof head}, {(void *)name, head.name}, {(void *)other, head.other},
                            {(void *)data, size}};
    if (writev(to, parts, 4) != (ssize_t)(sizeof head + head.name + head.other + size))
        abort();
}

static void note_written(int fd, const void *data, ssize_t size, off_t at)
{
    if (size > 0)
        note('W', number_of(fd), at, "", "", data, (size_t)size);
}

ssize_t write(int fd, const void *data, size_t size)
{
    ssize_t done;
    ALONE(
        int how = fcntl(fd, F_GETFL);
        off_t at = how >= 0 && how & O_APPEND ? lseek(fd, 0, SEEK_END) : lseek(fd, 0, SEEK_CUR);
        done = REAL(write)(fd, data, size);
        if (fd == 1 && done > 0)
            note('A', 0, 0, "", "", data, (size_t)done);
        else if (noted(fd))
            note_written(fd, data, done, at);
    )
    return done;
}

ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at)
{
    ssize_t done;
    ALONE(
        done = REAL(pwrite64)(fd, data, size, at);
        if (noted(fd))
            note_written(fd, data, done, at);
    )
    return done;
}

ssize_t pwrite(int fd, const void *data, size_t size, off_t at) { return pwrite64(fd, data, size, at); }

ssize_t sendfile64(int to, int from, off64_t *at, size_t size)
{
    ssize_t done;
    ALONE(
        off_t place = lseek(to, 0, SEEK_CUR), start = at ? *at : lseek(from, 0, SEEK_CUR);
        done = REAL(sendfile64)(to, from, at, size);
        if (noted(to) && done > 0) {
            char *copied = malloc((size_t)done);
            note_written(to, copied, pread(from, copied, (size_t)done, start), place);
            free(copied);
        }
    )
    return done;
}

ssize_t sendfile(int to, int from, off_t *at, size_t size) { return sendfile64(to, from, at, size); }

static int synced(int fd, int (*really)(int))
{
    int done;
    ALONE(
        char path[4096];
        struct stat state;
        done = really(fd);
        if (done == 0 && path_of(fd, path, sizeof path) && fstat(fd, &state) == 0) {
            if (S_ISDIR(state.st_mode))
                note('D', state.st_ino, 0, path, "", "", 0);
            else {
                char link[64], *held = malloc((size_t)state.st_size + 1);
                snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
                int again = REAL(open)(link, O_RDONLY | O_CLOEXEC);
                if (again < 0 || pread(again, held, (size_t)state.st_size, 0) != state.st_size)
                    abort();
                close(again);
                note('S', state.st_ino, 0, "", "", held, (size_t)state.st_size);
                free(held);
            }
        }
    )
    return done;
}

int fsync(int fd) { return synced(fd, REAL(fsync)); }

int fdatasync(int fd) { return synced(fd, REAL(fdatasync)); }

int ftruncate64(int fd, off64_t size)
{
    int done;
    ALONE(
        done = REAL(ftruncate64)(fd, size);
        if (done == 0 && noted(fd))
            note('T', number_of(fd), size, "", "", "", 0);
    )
    return done;
}

int ftruncate(int fd, off_t size) { return ftruncate64(fd, size); }

int rename(const char *from, const char *to)
{
    int done;
    ALONE(
        struct stat state;
        uint64_t file = stat(from, &state) == 0 ? state.st_ino : 0;
        done = REAL(rename)(from, to);
        if (done == 0 && below_root(to))
            note('R', file, 0, from, to, "", 0);
    )
    return done;
}

int unlink(const char *path)
{
    int done;
    ALONE(
        done = REAL(unlink)(path);
        if (done == 0 && below_root(path))
            note('U', 0, 0, path, "", "", 0);
    )
    return done;
}

int mkdir(const char *path, mode_t mode)
{
    int done;
    ALONE(
        done = REAL(mkdir)(path, mode);
        if (done == 0 && below_root(path))
            note('M', 0, 0, path, "", "", 0);
    )
    return done;
}

static void note_opened(const char *path, int fd, int was_there, int emptied)
{
    if (fd < 0 || !below_root(path))
        return;
    if (!was_there)
        note('C', number_of(fd), 0, path, "", "", 0);
    else if (emptied)
        note('T', number_of(fd), 0, "", "", "", 0);
}

int open64(const char *path, int flags, ...)
{
    va_list more;
    va_start(more, flags);
    mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0;
    va_end(more);
    int fd;
    ALONE(
        int was_there = access(path, F_OK) == 0;
        fd = REAL(open64)(path, flags, mode);
        note_opened(path, fd, was_there, flags & O_TRUNC);
    )
    return fd;
}

int open(const char *path, int flags, ...)
{
    va_list more;
    va_start(more, flags);
    mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0;
    va_end(more);
    return open64(path, flags, mode);
}

FILE *fopen64(const char *path, const char *how)
{
    FILE *file;
    ALONE(
        int was_there = access(path, F_OK) == 0;
        file = REAL(fopen64)(path, how);
        if (file != NULL)
            note_opened(path, fileno(file), was_there, strchr(how, 'w') != NULL);
    )
    return file;
}

FILE *fopen(const char *path, const char *how) { return fopen64(path, how); }
