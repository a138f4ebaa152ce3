/** Does a refusal say that the disk is full? The words of POSIX (`strerror(ENOSPC)`, `EDQUOT`) and common ones. */
export function noSpace(words: string): boolean {
  return /no space|disk (?:is )?full|quota exceeded|not enough (?:free )?(?:disk )?space/iu.test(words);
}
