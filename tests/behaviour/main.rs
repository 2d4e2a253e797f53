//! What a user does, one file per thing: runs the real binary and looks at exit code, output and files.
