/*
 * Stands between a process and its disk (LD_PRELOAD). Below one folder it writes down every change in the order in which it
 * was made, and makes the n-th one fail or ends the process there, as a block of shared memory says. Nothing of this is in
 * the program: its steps are named by what the kernel is asked for. See shim.ts.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

enum { WRITE = 1, SYNC = 2, OPEN = 4, RENAME = 8, TRUNCATE = 16, UNLINK = 32, SEND = 64, RECEIVE = 128, READ = 256, CREATE = 512 };
enum { NOTHING, FAIL_ONCE, FAIL_FROM, KILL_BEFORE, KILL_AFTER };

/* Fields and their places stand in shim.ts as well. */
struct control {
  int32_t ops, action, nth, error, seen, failed, unused[2];
  char name[96]; /* what a file's path must end with; empty: any */
};

struct record {
  uint32_t op, length;
  uint64_t inode;
  int64_t offset;
};

#define FILES 1024
static char *paths[FILES];
static uint64_t inodes[FILES];
static struct control none, *control = &none;
static const char *folder;
static size_t folder_length;
static int trace = -1;
static pthread_mutex_t lock = PTHREAD_RECURSIVE_MUTEX_INITIALIZER_NP;

#define REAL(type, name, ...) \
  static type (*real_##name)(__VA_ARGS__); \
  if (real_##name == NULL) real_##name = dlsym(RTLD_NEXT, #name)

static ssize_t plain_write(int fd, const void *bytes, size_t length) {
  REAL(ssize_t, write, int, const void *, size_t);
  return real_write(fd, bytes, length);
}

__attribute__((constructor)) static void begin(void) {
  const char *path = getenv("AXLEPOST_SHIM_CONTROL");
  REAL(int, open, const char *, int, ...);
  folder = getenv("AXLEPOST_SHIM_FOLDER");
  folder_length = folder == NULL ? 0 : strlen(folder);
  if (path != NULL) {
    int fd = real_open(path, O_RDWR | O_CLOEXEC);
    if (fd >= 0) {
      void *at = mmap(NULL, sizeof(struct control), PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
      if (at != MAP_FAILED) control = at;
      close(fd);
    }
  }
  path = getenv("AXLEPOST_SHIM_TRACE");
  if (path != NULL) trace = real_open(path, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0600);
}

static int is_ours(const char *path) {
  return folder != NULL && path != NULL && strncmp(path, folder, folder_length) == 0;
}

static void forget(int fd) {
  if (fd < 0 || fd >= FILES || paths[fd] == NULL) return;
  free(paths[fd]);
  paths[fd] = NULL;
}

static uint64_t inode_of(int fd) {
  struct stat about;
  return fstat(fd, &about) == 0 ? about.st_ino : 0;
}

/* libuv closes with a bare system call, so that a number may stand for another file by now. */
static const char *path_of(int fd) {
  if (fd < 0 || fd >= FILES || paths[fd] == NULL) return NULL;
  if (inode_of(fd) != inodes[fd]) forget(fd);
  return paths[fd];
}

static int ends_with(const char *path, const char *name) {
  size_t length = strlen(name);
  return path != NULL && strlen(path) >= length && strcmp(path + strlen(path) - length, name) == 0;
}

/* 0: go on. Otherwise the error to give. Whoever is to be killed after it is told by `after`. */
static int decide(int op, const char *path, int *after) {
  *after = 0;
  if ((control->ops & op) == 0 || control->action == NOTHING) return 0;
  if (!ends_with(path == NULL ? "" : path, control->name)) return 0;
  int now = __sync_add_and_fetch(&control->seen, 1);
  if (control->action == FAIL_FROM ? now < control->nth : now != control->nth) return 0;
  if (control->action == KILL_BEFORE) kill(getpid(), SIGKILL);
  if (control->action == KILL_AFTER) return *after = 1, 0;
  __sync_add_and_fetch(&control->failed, 1);
  return control->error;
}

static void die_if(int after) {
  if (after) kill(getpid(), SIGKILL);
}

static void note(int op, uint64_t inode, int64_t offset, const void *bytes, size_t length) {
  if (trace < 0) return;
  struct record record = {op, length, inode, offset};
  struct iovec parts[2] = {{&record, sizeof record}, {(void *)bytes, length}};
  REAL(ssize_t, writev, int, const struct iovec *, int);
  real_writev(trace, parts, length == 0 ? 1 : 2);
}

/* ---- files ---- */

static int opened(int fd, const char *path, int flags, int existed) {
  forget(fd);
  if (fd < 0 || fd >= FILES) return fd;
  paths[fd] = strdup(path);
  inodes[fd] = inode_of(fd);
  if (!existed) note(CREATE, inode_of(fd), 0, path, strlen(path));
  else if ((flags & O_TRUNC) && (flags & O_ACCMODE) != O_RDONLY) note(TRUNCATE, inode_of(fd), 0, NULL, 0);
  return fd;
}

#define OPEN_AS(name, real_call) \
  if (!is_ours(path)) return real_call; \
  int after, failed = 0, fd, existed = access(path, F_OK) == 0; \
  pthread_mutex_lock(&lock); \
  if ((flags & O_ACCMODE) != O_RDONLY || (flags & O_CREAT)) failed = decide(existed ? OPEN : CREATE, path, &after); else after = 0; \
  if (failed) errno = failed, fd = -1; \
  else fd = opened(real_call, path, flags, existed); \
  pthread_mutex_unlock(&lock); \
  die_if(after); \
  return fd;

#define MODE \
  mode_t mode = 0; \
  if (flags & (O_CREAT | O_TMPFILE)) { va_list rest; va_start(rest, flags); mode = va_arg(rest, mode_t); va_end(rest); }

int open(const char *path, int flags, ...) {
  MODE REAL(int, open, const char *, int, ...);
  OPEN_AS(open, real_open(path, flags, mode))
}
int open64(const char *path, int flags, ...) {
  MODE REAL(int, open64, const char *, int, ...);
  OPEN_AS(open64, real_open64(path, flags, mode))
}
int openat(int at, const char *path, int flags, ...) {
  MODE REAL(int, openat, int, const char *, int, ...);
  OPEN_AS(openat, real_openat(at, path, flags, mode))
}
int openat64(int at, const char *path, int flags, ...) {
  MODE REAL(int, openat64, int, const char *, int, ...);
  OPEN_AS(openat64, real_openat64(at, path, flags, mode))
}
int close(int fd) {
  REAL(int, close, int);
  forget(fd);
  return real_close(fd);
}

static int is_internet(int fd) {
  struct sockaddr_storage name;
  socklen_t length = sizeof name;
  return getsockname(fd, (struct sockaddr *)&name, &length) == 0 && name.ss_family == AF_INET;
}

/* First byte of an MQTT packet: PUBLISH from us, PUBACK to us. */
static int is_packet(int op, int fd, const void *bytes, size_t length, int type) {
  return (control->ops & op) && length > 0 && (*(const unsigned char *)bytes & 0xf0) == type && is_internet(fd);
}

static int64_t place_in(int fd) {
  struct stat about;
  if ((fcntl(fd, F_GETFL) & O_APPEND) && fstat(fd, &about) == 0) return about.st_size;
  return lseek(fd, 0, SEEK_CUR);
}

#define WRITE_AS(offset_, first, first_length, real_call, note_all) \
  const char *path = path_of(fd); \
  int after, failed; \
  ssize_t given; \
  if (path == NULL) { \
    if (!is_packet(SEND, fd, first, first_length, 0x30)) return real_call; \
    failed = decide(SEND, NULL, &after); \
    if (failed) return errno = failed, -1; \
    given = real_call; \
    die_if(after); \
    return given; \
  } \
  pthread_mutex_lock(&lock); \
  failed = decide(WRITE, path, &after); \
  if (failed) { \
    given = -1; \
    errno = failed; \
  } else { \
    int64_t place = offset_; \
    given = real_call; \
    note_all; \
  } \
  pthread_mutex_unlock(&lock); \
  die_if(after); \
  return given;

#define NOTE_ONE if (given > 0) note(WRITE, inode_of(fd), place, bytes, given)
#define NOTE_PARTS \
  for (int n = 0; given > 0 && n < count; n++) { \
    note(WRITE, inode_of(fd), place, parts[n].iov_base, parts[n].iov_len); \
    place += parts[n].iov_len; \
  }

ssize_t write(int fd, const void *bytes, size_t length) {
  WRITE_AS(place_in(fd), bytes, length, plain_write(fd, bytes, length), NOTE_ONE)
}
ssize_t writev(int fd, const struct iovec *parts, int count) {
  REAL(ssize_t, writev, int, const struct iovec *, int);
  WRITE_AS(place_in(fd), count > 0 ? parts[0].iov_base : NULL, count > 0 ? parts[0].iov_len : 0,
           real_writev(fd, parts, count), NOTE_PARTS)
}
ssize_t pwrite(int fd, const void *bytes, size_t length, off_t offset) {
  REAL(ssize_t, pwrite, int, const void *, size_t, off_t);
  WRITE_AS(offset, bytes, 0, real_pwrite(fd, bytes, length, offset), NOTE_ONE)
}
ssize_t pwrite64(int fd, const void *bytes, size_t length, off64_t offset) {
  REAL(ssize_t, pwrite64, int, const void *, size_t, off64_t);
  WRITE_AS(offset, bytes, 0, real_pwrite64(fd, bytes, length, offset), NOTE_ONE)
}
ssize_t pwritev(int fd, const struct iovec *parts, int count, off_t offset) {
  REAL(ssize_t, pwritev, int, const struct iovec *, int, off_t);
  WRITE_AS(offset, NULL, 0, real_pwritev(fd, parts, count, offset), NOTE_PARTS)
}
ssize_t pwritev64(int fd, const struct iovec *parts, int count, off64_t offset) {
  REAL(ssize_t, pwritev64, int, const struct iovec *, int, off64_t);
  WRITE_AS(offset, NULL, 0, real_pwritev64(fd, parts, count, offset), NOTE_PARTS)
}

ssize_t read(int fd, void *bytes, size_t length) {
  REAL(ssize_t, read, int, void *, size_t);
  ssize_t given = real_read(fd, bytes, length);
  if (given > 0 && is_packet(RECEIVE, fd, bytes, given, 0x40)) {
    int after;
    decide(RECEIVE, NULL, &after);
  }
  return given;
}

#define READ_AS(real_call) \
  const char *path = path_of(fd); \
  if (path != NULL && (control->ops & READ)) { \
    int after, failed = decide(READ, path, &after); \
    if (failed) return errno = failed, -1; \
  } \
  return real_call;

ssize_t pread(int fd, void *bytes, size_t length, off_t offset) {
  REAL(ssize_t, pread, int, void *, size_t, off_t);
  READ_AS(real_pread(fd, bytes, length, offset))
}
ssize_t pread64(int fd, void *bytes, size_t length, off64_t offset) {
  REAL(ssize_t, pread64, int, void *, size_t, off64_t);
  READ_AS(real_pread64(fd, bytes, length, offset))
}

#define CHANGE_AS(op, path, inode, offset_, bytes, length, real_call) \
  int after, failed, given; \
  pthread_mutex_lock(&lock); \
  failed = decide(op, path, &after); \
  if (failed) errno = failed, given = -1; \
  else { \
    uint64_t about = inode; \
    given = real_call; \
    if (given == 0) note(op, about, offset_, bytes, length); \
  } \
  pthread_mutex_unlock(&lock); \
  die_if(after); \
  return given;

#define FILE_CHANGE(op, offset_, real_call) \
  if (path_of(fd) == NULL) return real_call; \
  CHANGE_AS(op, path_of(fd), inode_of(fd), offset_, NULL, 0, real_call)

int ftruncate(int fd, off_t size) {
  REAL(int, ftruncate, int, off_t);
  FILE_CHANGE(TRUNCATE, size, real_ftruncate(fd, size))
}
int ftruncate64(int fd, off64_t size) {
  REAL(int, ftruncate64, int, off64_t);
  FILE_CHANGE(TRUNCATE, size, real_ftruncate64(fd, size))
}
int fsync(int fd) {
  REAL(int, fsync, int);
  FILE_CHANGE(SYNC, 0, real_fsync(fd))
}
int fdatasync(int fd) {
  REAL(int, fdatasync, int);
  FILE_CHANGE(SYNC, 0, real_fdatasync(fd))
}

static uint64_t inode_at(const char *path) {
  struct stat about;
  return stat(path, &about) == 0 ? about.st_ino : 0;
}

int rename(const char *from, const char *to) {
  REAL(int, rename, const char *, const char *);
  if (!is_ours(from)) return real_rename(from, to);
  char both[8192];
  size_t length = strlen(from) + 1;
  memcpy(both, from, length);
  strcpy(both + length, to);
  CHANGE_AS(RENAME, from, inode_at(from), 0, both, length + strlen(to), real_rename(from, to))
}
int unlink(const char *path) {
  REAL(int, unlink, const char *);
  if (!is_ours(path)) return real_unlink(path);
  CHANGE_AS(UNLINK, path, inode_at(path), 0, path, strlen(path), real_unlink(path))
}
